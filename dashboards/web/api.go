package web

import (
	"context"

	"strokewise/dashboards/access"
	"strokewise/dashboards/api"
)

// stored is what programs may ask of the history.
type stored struct {
	History
	Alarms
}

// apiRoutes returns the paths of the interface for programs. They share the places of those who read the history.
func (s *site) apiRoutes() (list []route) {
	src := api.Sources{Board: s.Board, Hours: s.Hours, References: s.References, Now: s.Now, Lane: s.queueFor}
	if s.History != nil && s.Alarms != nil {
		src.History = stored{s.History, s.Alarms}
	}
	for _, e := range api.Endpoints(src) {
		list = append(list, route{pattern: api.Root + e.Path, read: access.Look, handler: e.Handler.ServeHTTP})
	}
	return list
}

// queueFor waits for a place among those who read the history, no longer than a query may take.
func (s *site) queueFor(ctx context.Context) (func(), error) {
	ctx, cancel := context.WithTimeout(ctx, queryTime)
	defer cancel()
	return s.queue(ctx)
}
