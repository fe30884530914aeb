package web

import (
	"net/http"

	"strokewise/dashboards/access"
)

// route is a path that is served, with what somebody must be allowed to do there.
type route struct {
	pattern string
	read    access.Action // by GET and HEAD
	write   access.Action // by POST, at least; "": nothing is taken
	body    int64         // bytes that are taken
	forms   bool          // the page holds forms
	handler http.HandlerFunc
}

// table holds the routes by their patterns.
type table struct {
	mux *http.ServeMux
	by  map[string]*route
}

func newTable(list []route) table {
	t := table{http.NewServeMux(), make(map[string]*route, len(list))}
	for i := range list {
		r := &list[i]
		t.by[r.pattern] = r
		t.mux.Handle(r.pattern, r.handler)
	}
	return t
}

// nowhere stands for the paths that are not served: they are found out by those alone who may look.
var nowhere = route{read: access.Look}

// find returns the route of a request.
func (t table) find(r *http.Request) *route {
	if t.mux == nil {
		return &nowhere
	}
	_, pattern := t.mux.Handler(r)
	if x, ok := t.by[pattern]; ok {
		return x
	}
	return &nowhere
}

// aCommand is the least of people's commands: what one needs beyond it is known once it is read.
const aCommand access.Action = "note"

// routes returns all paths that are served: the one place that serving, documents and tests share.
func (s *site) routes() []route {
	look := func(pattern string, h http.HandlerFunc) route {
		return route{pattern: pattern, read: access.Look, handler: h}
	}
	list := []route{
		look("/{$}", s.stations("page.html")),
		look("/stations", s.stations("stations.html")),
		{pattern: "/station/{site}/{station}", read: access.Look, forms: s.Command != nil, handler: s.station},
		look("/station/{site}/{station}/trace", s.trace),
		look("/station/{site}/{station}/how", s.how),
		look("/station/{site}/{station}/trends", s.trends),
		look("/events", s.events),
		look("/program", s.program),
		look("/costs", s.costs),
		look("/audit", s.audit),
		look("/alarm-figures", s.alarmFigures),
		look("/due", s.due),
		look("/after-shift", s.afterShift),
		{pattern: "/healthz", read: access.Open, handler: alive},
		{pattern: "/readyz", read: access.Open, handler: s.readyz},
		{pattern: "/static/", read: access.Open, handler: http.StripPrefix("/static/", newFiles()).ServeHTTP},
		s.refusedRoute(),
	}
	return append(append(list, s.apiRoutes()...), s.optional()...)
}

func (s *site) refusedRoute() route {
	r := route{pattern: refusedPath, read: access.Look, handler: s.refused}
	if s.Refusals != nil {
		r.write, r.body = access.Refused, mostBody
	}
	return r
}

// optional returns the paths of what is not everywhere.
func (s *site) optional() (list []route) {
	if s.Metrics != nil {
		list = append(list, route{pattern: "/metrics", read: access.Scrape, handler: s.Metrics.ServeHTTP})
	}
	if s.Command != nil {
		list = append(list, route{pattern: "/station/{site}/{station}/command", read: access.Look, write: aCommand, body: mostBody, forms: true, handler: s.command})
	}
	if s.Rig != nil {
		list = append(list, route{pattern: rigPath, read: access.Look, write: access.Fault, body: 4096, forms: true, handler: s.rig})
	}
	if s.Backtest != nil {
		list = append(list, route{pattern: backtestPath, read: access.Look, write: access.Backtest, body: 2 * mostChanges, forms: true, handler: s.backtest})
	}
	if s.Reload != nil {
		list = append(list, route{pattern: reloadPath, write: access.Reload, body: 4096, handler: s.reload})
	}
	if s.FirstRun != nil {
		list = append(list, route{pattern: firstRunPath, read: access.Discover, write: access.Discover, body: mostFirstRun, forms: true, handler: s.firstRun})
	}
	if s.Trail != nil {
		list = append(list, route{pattern: trailPath, read: access.Audit, handler: s.trail}, route{pattern: csvPath, read: access.Audit, handler: s.trailCSV})
	}
	if s.Identity != nil {
		list = append(list,
			route{pattern: loginPath, read: access.Open, write: access.Open, body: mostLogin, forms: true, handler: s.login},
			route{pattern: accountPath, read: access.Account, forms: true, handler: s.account},
			route{pattern: loginsPath, read: access.Logins, write: access.Logins, body: mostLogin, forms: true, handler: s.logins},
			route{pattern: logoutPath, write: access.Account, body: mostLogin, handler: s.logout})
		if s.Identity.SignOn != nil {
			list = append(list, route{pattern: signonPath, read: access.Open, handler: s.signon}, route{pattern: Callback, read: access.Open, handler: s.callback})
		}
	}
	return list
}
