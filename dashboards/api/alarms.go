package api

import (
	"context"
	"net/http"
	"slices"
	"strings"

	"strokewise/analyzer/station"
	"strokewise/dashboards/board"
	"strokewise/rules"
)

// Alarm is an alarm that is not normal. States are those of IEC 62682.
type Alarm struct {
	Site     string `json:"site"`
	Branch   string `json:"branch"`
	Station  string `json:"station"` // or header:NAME, site:all
	Alarm    string `json:"alarm"`
	Priority string `json:"priority"`
	State    string `json:"state"`
	Active   bool   `json:"active"` // its condition is present
	Raised   string `json:"raised"`
	Changed  string `json:"changed"` // into the present state
	By       string `json:"by"`      // the person who brought the state about
	Why      string `json:"why"`
	Until    string `json:"shelved_until"`
	Message  string `json:"message"`
	Caution  string `json:"caution"`
}

// Transition is a change of an alarm's state.
type Transition struct {
	ID       string `json:"id"`
	Site     string `json:"site"`
	Branch   string `json:"branch"`
	Station  string `json:"station"`
	Alarm    string `json:"alarm"`
	Priority string `json:"priority"`
	At       string `json:"at"`
	From     string `json:"from_state"`
	To       string `json:"to_state"`
	Raised   string `json:"raised"`
	By       string `json:"by"`
	Why      string `json:"why"`
	Cause    string `json:"cause"` // of a closing
	Message  string `json:"message"`
	Caution  string `json:"caution"`
}

// alarms answers with the alarms that are not normal, of stations, headers and sites.
func (h *handlers) alarms(r *http.Request) (any, error) {
	q := queryOf(r, "site", "limit", "after")
	limit := q.limit()
	if err := q.problem(); err != nil {
		return nil, err
	}
	list := []Alarm{}
	add := func(all []board.Alarm) {
		for i := range all {
			if site := all[i].Transition.Key.Site; q.Get("site") == "" || q.Get("site") == site {
				list = append(list, alarmOf(&all[i]))
			}
		}
	}
	all := h.Board.All()
	for i := range all {
		add(all[i].Alarms)
	}
	for _, x := range h.Board.Headers() {
		add(x.Alarms)
	}
	slices.SortFunc(list, func(a, b Alarm) int { return strings.Compare(a.key(), b.key()) })
	return paging(r, list, (*Alarm).key, q.Get("after"), limit), nil
}

func (a *Alarm) key() string { return a.Site + "/" + a.Station + "/" + a.Alarm }

func alarmOf(a *board.Alarm) Alarm {
	t := &a.Transition
	return Alarm{Site: t.Key.Site, Branch: t.Branch, Station: t.Key.Station, Alarm: t.Alarm, Priority: t.Priority.String(), State: a.State.String(),
		Active: a.State.Active(), Raised: moment(t.Raised), Changed: moment(t.At), By: t.By, Why: t.Why, Until: moment(t.ShelvedUntil), Message: t.Message, Caution: t.Caution}
}

// log answers with transitions. A page ends with a whole instant, so that the next one begins where it ended.
func (h *handlers) log(r *http.Request) (any, error) {
	q := queryOf(r, "site", "station", "from", "to", "limit")
	from, to := q.span(h.now())
	limit := q.limit()
	k := station.Key{Site: q.Get("site"), Station: q.Get("station")}
	if k.Station != "" && k.Site == "" {
		q.fault("station", "station is given without its site")
	}
	if err := q.problem(); err != nil {
		return nil, err
	}
	one := k
	if k.Station == "" {
		one = station.Key{}
	}
	out := page[Transition]{Items: []Transition{}}
	return &out, h.read(r.Context(), func(ctx context.Context, stored History) error {
		list, err := stored.Transitions(ctx, one, from, to)
		for i := range list {
			t := &list[i]
			if k.Site != "" && t.Key.Site != k.Site {
				continue
			}
			if n := len(out.Items); n >= limit && moment(t.At) != out.Items[n-1].At {
				out.Next = next(r, "from", moment(t.At))
				break
			}
			out.Items = append(out.Items, transitionOf(t))
		}
		return err
	})
}

func transitionOf(t *rules.Transition) Transition {
	return Transition{ID: t.ID(), Site: t.Key.Site, Branch: t.Branch, Station: t.Key.Station, Alarm: t.Alarm, Priority: t.Priority.String(), At: moment(t.At),
		From: t.From.String(), To: t.To.String(), Raised: moment(t.Raised), By: t.By, Why: t.Why, Cause: t.Cause.String(), Message: t.Message, Caution: t.Caution}
}
