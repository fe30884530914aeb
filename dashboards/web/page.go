package web

import (
	"fmt"
	"net/http"
	"net/url"
	"strconv"

	"strokewise/analyzer/station"
	"strokewise/dashboards/board"
)

// pageView is the page of one station.
type pageView struct {
	stationView
	Root, Version string
	Site, Branch  string
	Live          liveView
	Ranges        []rangeView
	Range         string // the chosen one, in words
	Span          int    // s
	Unit          string // of pressures in the chart
	PerKPa        string // such units in a kPa
	Places        int    // decimals of the unit
	Legend        []stateView
	Today         []row // sums since the site's midnight
	Plate         []entry
	Form, Work    *formView   // nil: no commands are taken
	Done          []givenView // what became of a command that was given just now
	Notes         []noteView
	NoNotes       string // why they are not known
}

// liveView holds the parts of a station's page that are renewed by themselves.
type liveView struct {
	Condition stationView
	Groups    []group
	Diagram   diagramView
}

// diagramView holds what stands beside the sensors in the diagram.
type diagramView struct{ Inlet, Outlet, Tank, Relief, Ratio string }

// rangeView is a span of time that the chart can show.
type rangeView struct {
	Seconds int
	Name    string
	Chosen  bool
}

// stateView is a state in the legend: colour, hatching and letters differ.
type stateView struct{ Name, Letters, Words string }

var ranges = []rangeView{{Seconds: 30, Name: "30 s"}, {Seconds: 300, Name: "5 min"}, {Seconds: 3600, Name: "1 h"},
	{Seconds: 8 * 3600, Name: "8 h"}, {Seconds: 86400, Name: "1 day"}, {Seconds: 7 * 86400, Name: "7 days"}}

const usualRange = 300 // s

// pageRoot leads from a station's page to the first page.
const pageRoot = "../../"

var letters = [station.NumStates]string{
	station.Blind: "Bl", station.Off: "Of", station.Charging: "Ch", station.Stroking: "St",
	station.Holding: "Ho", station.Starved: "Sv", station.Venting: "Ve", station.Residual: "Re",
}

// path gives the key as it stands in addresses: both names escaped.
func path(k station.Key) string { return url.PathEscape(k.Site) + "/" + url.PathEscape(k.Station) }

// page builds a station's page with the chart over seconds.
func page(s *board.Station, line *sparkView, seconds int, version string) pageView {
	v := pageView{stationView: describe(s), Root: pageRoot, Version: version, Site: s.Plate.Key.Site, Branch: s.Plate.Branch,
		Live: liveParts(s), Span: seconds, Range: strconv.Itoa(seconds) + " s", Plate: plate(&s.Plate)}
	in := s.Plate.Reading
	v.Unit, v.PerKPa, v.Places = in.String(), strconv.FormatFloat(1e3*in.Scale(), 'g', 8, 64), in.Decimals()
	v.Line = line
	for _, r := range ranges {
		if r.Chosen = r.Seconds == seconds; r.Chosen {
			v.Range = r.Name
		}
		v.Ranges = append(v.Ranges, r)
	}
	for state, w := range words {
		v.Legend = append(v.Legend, stateView{station.State(state).String(), letters[state], w})
	}
	return v
}

func liveParts(s *board.Station) liveView {
	v := liveView{Condition: describe(s), Groups: groups(s), Diagram: diagramView{Tank: "tank", Ratio: "booster"}}
	now := v.Groups[0].Rows
	v.Diagram.Inlet, v.Diagram.Outlet = reading(&now[0]), reading(&now[1])
	if s.Plate.TankVolume > 0 {
		v.Diagram.Tank = "tank, " + number(s.Plate.TankVolume*1e3, 0) + " L"
	}
	if s.Plate.Relief > 0 {
		v.Diagram.Relief = s.Plate.Reading.Gauge(float64(s.Plate.Relief))
	}
	if s.Plate.AreaRatio > 0 {
		v.Diagram.Ratio = "booster, " + number(s.Plate.AreaRatio, 1) + " : 1"
	}
	return v
}

func reading(r *row) string {
	if r.Why != "" {
		return "unknown"
	}
	return r.Value + " " + r.Unit
}

// station shows one station.
func (s *site) station(w http.ResponseWriter, r *http.Request) {
	k := keyIn(r)
	if _, ok := k.Header(); ok {
		s.header(w, r, k)
		return
	}
	one, ok := s.known(w, k)
	if !ok {
		return
	}
	seconds := usualRange
	if text := r.URL.Query().Get("span"); text != "" {
		n, err := spanOf(text)
		if err != nil {
			plain(w, http.StatusBadRequest, err.Error())
			return
		}
		seconds = n
	}
	v := page(&one, s.lately(k, one.Plate.Reading), seconds, s.Version)
	v.Live.Condition.cover(s.Board)
	by := readerOf(r)
	s.addForms(v.Live.Condition.Alarms, k, v.Root, by, "")
	if s.Command != nil {
		v.Form, v.Work, v.Done = s.fit(s.noteForm(k, v.Root), by, k), s.fit(workForm(k, v.Root), by, k), s.given(r, k)
	}
	v.Notes, v.NoNotes = s.notes(r.Context(), k)
	today, err := s.today(r.Context(), k)
	if err != nil {
		today = []row{{Name: "Sums of today", Why: err.Error()}}
	}
	v.Today = today
	s.render(w, "station.html", v)
}

// keyIn gives the station that an address names.
func keyIn(r *http.Request) station.Key {
	return station.Key{Site: r.PathValue("site"), Station: r.PathValue("station")}
}

// known gives a station's picture, or answers that there is no such.
func (s *site) known(w http.ResponseWriter, k station.Key) (board.Station, bool) {
	one, ok := s.Board.Get(k)
	if !ok {
		s.noStation(w, k)
	}
	return one, ok
}

func (s *site) noStation(w http.ResponseWriter, k station.Key) {
	text := fmt.Sprintf("there is no station %.80q at site %.80q. The page of stations lists those that there are: the configuration names them.", k.Station, k.Site)
	if !s.Board.Ready() {
		text += " The history is still being restored; try again in a moment."
	}
	plain(w, http.StatusNotFound, text)
}

// The spans that may be asked for, s.
const leastSpan, mostSpan = 10, 7 * 86400

// spanOf reads a span of time.
func spanOf(text string) (int, error) {
	n, err := strconv.Atoi(text)
	if err != nil || n < leastSpan || n > mostSpan {
		return 0, fmt.Errorf("span is %.40q: it must be a whole number of seconds from %d to %d, as in span=300", text, leastSpan, mostSpan)
	}
	return n, nil
}
