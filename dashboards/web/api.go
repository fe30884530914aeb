package web

import (
	"strokewise/dashboards/access"
	"strokewise/dashboards/api"
)

// stored is what programs may ask of the history.
type stored struct {
	History
	Alarms
	Hours
}

// apiRoutes returns the paths of the interface for programs. They share the places of those who read the history.
func (s *site) apiRoutes() (list []route) {
	src := api.Sources{Board: s.Board, References: s.References, Now: s.Now, Lane: s.queue}
	if s.History != nil && s.Alarms != nil && s.Hours != nil {
		src.History = stored{s.History, s.Alarms, s.Hours}
	}
	for _, e := range api.Endpoints(src) {
		list = append(list, route{pattern: api.Root + e.Path, read: access.Look, handler: e.Handler.ServeHTTP})
	}
	return list
}
