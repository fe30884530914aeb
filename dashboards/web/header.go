package web

import (
	"net/http"
	"slices"
	"strconv"

	"strokewise/analyzer/station"
	"strokewise/dashboards/board"
	"strokewise/rules"
)

// headerView is a header with its alarms, and the stations under them.
type headerView struct {
	Name, Key string
	Alarms    []alarmView
	Count     string // of Under
	Under     []underView
}

// underView is a station under a header's alarm.
type underView struct{ Name, Key, State, Alarms string }

// headerName gives the header of a key in words.
func headerName(k station.Key) string {
	if k.WholeSite() {
		return "site " + k.Site
	}
	name, _ := k.Header()
	return "header " + name
}

func isHeader(k station.Key) bool { _, ok := k.Header(); return ok }

// nameOf gives the name of a station or header.
func nameOf(k station.Key) string {
	if isHeader(k) {
		return headerName(k)
	}
	return k.Station
}

// headerOf puts a header in words; states says what its stations do, nil: nothing.
func headerOf(h *board.Header, states func(station.Key) (board.Station, bool)) headerView {
	v := headerView{Name: headerName(h.Key), Key: path(h.Key), Alarms: alarms(h.Alarms), Count: plural(len(h.Under), "station")}
	if h.Gone {
		v.Name += " (" + noLongerConfigured + ")"
	}
	for _, id := range h.Under {
		k := station.Key{Site: h.Key.Site, Station: id}
		u := underView{Name: id, Key: path(k)}
		if s, ok := states(k); ok {
			u.State = (s.Status.State % station.NumStates).String()
			if s.Unwatched != nil {
				u.State = notWatched
			} else if s.Stale() {
				u.State = "no data"
			}
			u.Alarms = names(s.Alarms)
		}
		v.Under = append(v.Under, u)
	}
	return v
}

// names lists alarms whose condition is present.
func names(list []board.Alarm) (text string) {
	for i := range list {
		if list[i].State.Active() {
			text = join(text, list[i].Transition.Alarm)
		}
	}
	return text
}

// cover says of a station's alarms which of them its header's alarm explains.
func (v *stationView) cover(b *board.Board) {
	h, ok := b.Header(v.header)
	if !ok || !h.Covers(v.key.Station) {
		return
	}
	v.Under, v.UnderKey = rules.HeaderLow+" of "+headerName(h.Key), path(h.Key)
	for i := range v.Alarms {
		if a := &v.Alarms[i]; rules.Explainable(a.Name) {
			a.Under = v.Under
		}
	}
}

// headers adds the headers that have an alarm, counts the open alarms with them and without
// what they explain, and says of each station what its header has.
func (v *overviewView) headers(all []board.Station, b *board.Board) {
	list := b.Headers()
	list = slices.DeleteFunc(list, func(h board.Header) bool { return len(h.Alarms) == 0 })
	if len(list) == 0 {
		return
	}
	covers := make(map[station.Key]*board.Header, len(list))
	for i := range list {
		covers[list[i].Key] = &list[i]
	}
	v.count(openBeside(all, list, covers))
	for i := range v.Sites {
		s := &v.Sites[i]
		for j := range list {
			if list[j].Key.Site == s.Name {
				s.Headers = append(s.Headers, headerOf(&list[j], b.Get))
			}
		}
		for j := range s.Branches {
			for k := range s.Branches[j].Stations {
				s.Branches[j].Stations[k].cover(b)
			}
		}
	}
}

// openBeside gives the alarms of stations that no header explains, and those of headers.
func openBeside(all []board.Station, list []board.Header, covers map[station.Key]*board.Header) []board.Station {
	seen := make([]board.Station, 0, len(all)+len(list))
	for i := range all {
		s := board.Station{Plate: all[i].Plate, Alarms: all[i].Alarms}
		if h := covers[all[i].Plate.HeaderKey()]; h != nil && h.Covers(all[i].Plate.Key.Station) {
			s.Alarms = slices.DeleteFunc(slices.Clone(s.Alarms), func(a board.Alarm) bool { return rules.Explainable(a.Transition.Alarm) })
		}
		seen = append(seen, s)
	}
	for i := range list {
		h := board.Station{Alarms: list[i].Alarms}
		h.Plate.Key = list[i].Key
		seen = append(seen, h)
	}
	return seen
}

// headersLook is what makes the page of stations be fetched anew.
func headersLook(b *board.Board) (text string) {
	for _, h := range b.Headers() {
		if len(h.Alarms) > 0 {
			text += path(h.Key) + " " + look(&board.Station{Alarms: h.Alarms}) + " " + strconv.Itoa(len(h.Under)) + "\n"
		}
	}
	return text
}

// headerPage is the page of one header.
type headerPage struct {
	headerView
	Root, Version, Site string
	At                  string
	Form                *formView
	Done                []givenView
	Notes               []noteView
	NoNotes             string
}

// header shows one header.
func (s *site) header(w http.ResponseWriter, r *http.Request, k station.Key) {
	h, ok := s.Board.Header(k)
	if !ok {
		s.noStation(w, k)
		return
	}
	v := headerPage{headerView: headerOf(&h, s.Board.Get), Root: pageRoot, Version: s.Version, Site: k.Site, At: clock(station.InstantOf(s.Now()))}
	by := readerOf(r)
	s.addForms(v.Alarms, k, v.Root, by, "")
	if s.Command != nil {
		v.Form, v.Done = s.fit(s.noteForm(k, v.Root), by, k), s.given(r, k)
	}
	v.Notes, v.NoNotes = s.notes(r.Context(), k)
	s.render(w, "header.html", v)
}

// found gives the station, or a header as if it were one, that commands are about.
func (s *site) found(k station.Key) (board.Station, bool) {
	if _, ok := k.Header(); !ok {
		return s.Board.Get(k)
	}
	h, ok := s.Board.Header(k)
	return board.Station{Plate: station.Plate{Key: k}, Alarms: h.Alarms}, ok
}
