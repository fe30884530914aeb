package web

import (
	"net/http"
	"strconv"
	"strings"
	"time"

	"strokewise/analyzer/station"
)

// Rig is the demonstration's virtual plant, for a page on which faults are caused.
type Rig interface {
	// Stations tells what each suffers from.
	Stations() []RigStation
	// Kinds tells which faults there are.
	Kinds() []RigKind
	// Order causes a fault at a station, or ends it. A level of 0 is the usual one; with
	// mend an empty kind is all of them.
	Order(station, kind string, level float64, grow time.Duration, mend bool) error
}

// RigStation is a virtual station.
type RigStation struct {
	Key    station.Key
	About  string
	Faults []RigFault
}

// RigFault is a fault that has not ended.
type RigFault struct {
	Kind  string
	About string
	From  station.Instant // 0: from the start
	Grow  int64           // ns
}

// RigKind is a kind of fault.
type RigKind struct {
	Name, About, Unit string
	Usual             string // level, in the unit
}

// rigView is the page.
type rigView struct {
	Root     string
	Version  string
	Problem  string
	Stations []rigStationView
	Kinds    []RigKind
	Mark     string // of our own pages
}

type rigStationView struct {
	Name, Link, About string
	Faults            []rigFaultView
}

type rigFaultView struct{ Kind, About, When string }

// plantOf puts the virtual plant in words.
func plantOf(r Rig, problem, version string) rigView {
	v := rigView{Version: version, Problem: problem, Kinds: r.Kinds()}
	for _, s := range r.Stations() {
		o := rigStationView{Name: s.Key.String(), Link: s.Key.String(), About: s.About}
		for _, f := range s.Faults {
			o.Faults = append(o.Faults, rigFaultView{f.Kind, f.About, onset(f)})
		}
		v.Stations = append(v.Stations, o)
	}
	return v
}

// plant returns the page as it is for a reader.
func (s *site) plant(r *http.Request, problem string) rigView {
	v := plantOf(s.Rig, problem, s.Version)
	v.Mark = s.mark(readerOf(r))
	return v
}

// onset returns since when a fault is there.
func onset(f RigFault) string {
	when := "from the start"
	if f.From != 0 {
		when = "from " + clock(f.From)
	}
	if f.Grow > 0 {
		when += ", grown after " + span(f.Grow)
	}
	return when
}

// rig shows the virtual plant and takes orders for it.
func (s *site) rig(w http.ResponseWriter, r *http.Request) {
	if r.Method != http.MethodPost {
		s.render(w, "rig.html", s.plant(r, ""))
		return
	}
	if err := s.order(w, r); err != nil {
		s.renderAs(w, http.StatusBadRequest, "rig.html", s.plant(r, err.Error()))
		return
	}
	http.Redirect(w, r, rigPath, http.StatusSeeOther)
}

// order carries out what a form of the page says.
func (s *site) order(w http.ResponseWriter, r *http.Request) error {
	r.Body = http.MaxBytesReader(w, r.Body, 4096)
	if err := r.ParseForm(); err != nil {
		return err
	}
	level, err := formNumber(r, "level", "level")
	if err != nil {
		return err
	}
	grow, err := formNumber(r, "grow", "time to grow")
	if err != nil {
		return err
	}
	if grow < 0 || grow > 30*86400 {
		return errText("the time to grow must be between 0 and 2592000 s (30 days)")
	}
	return s.Rig.Order(r.PostFormValue("station"), r.PostFormValue("kind"), level, time.Duration(grow*1e9), r.PostFormValue("mend") != "")
}

// errText is an error that is only its text.
type errText string

func (e errText) Error() string { return string(e) }

// formNumber reads a number of a form, 0 where the field is empty.
func formNumber(r *http.Request, field, name string) (float64, error) {
	text := strings.TrimSpace(r.PostFormValue(field))
	if text == "" {
		return 0, nil
	}
	v, err := strconv.ParseFloat(text, 64)
	if err != nil || !finite(v) {
		return 0, errText("the " + name + " must be a number such as 0.2, not " + strconv.Quote(text))
	}
	return v, nil
}
