package web

import (
	"net/http"
	"strconv"
	"strings"
)

// FirstRun listens to a broker that nobody has described, for the page that proposes stations. One connection
// at a time; what was heard stays until the next one begins.
type FirstRun interface {
	// Begin connects. An error says what is wrong with the request.
	Begin(at ListenAt) error
	Stop()
	State() Heard
	// Write returns the configuration file of a plan, and what a check of it finds: faults of what is not
	// known yet are among them. An error says what is wrong with the plan.
	Write(p Plan) (file []byte, faults string, err error)
}

// ListenAt is where to listen.
type ListenAt struct{ Broker, User, Password, Filter string }

// Heard is what was heard and concluded up to now.
type Heard struct {
	ListenAt         // without the password
	Running  bool    // else it has ended, or never began
	Trouble  string  // why nothing can be heard
	Seconds  float64 // from the first message to the newest
	Messages int64
	LeftOut  int64 // messages and values beyond what is remembered
	Topics   int
	Unread   []HeardTopic // with messages that cannot be read
	Series   []HeardSeries
	Stations []HeardStation
	Channels []string
	Units    []string // that a pressure can be in
	Steps    []PlateStep
	Site     string
}

// HeardTopic is a topic with messages that cannot be read.
type HeardTopic struct {
	Name, Problem    string
	Messages, Unread int64
}

// HeardSeries is a value that comes again and again.
type HeardSeries struct {
	Topic, Name, Payload string
	Rate, Low, High      float64
	Guess                string    // what it is most likely
	Sure                 float64   // of that
	Why                  string    // with what else it may be
	Unit, Scale          string    // as a pressure
	Trace                []float64 // means of equal times, NaN where nothing came
}

// HeardStation is a station that is proposed.
type HeardStation struct {
	ID, Why  string
	Channels []HeardChannel
}

// HeardChannel is a series that stands for a channel.
type HeardChannel struct {
	Series       int
	Channel, Why string
	Sure         float64
}

// PlateStep is what is asked about a station together, with what the answers buy.
type PlateStep struct {
	Keys []PlateKey
	Buys string
}

// PlateKey is a key of the plate data.
type PlateKey struct{ Name, Label, Example string }

// Plan is what is to be configured.
type Plan struct {
	Site     string
	Stations []PlannedStation
}

// PlannedStation is a station of a plan.
type PlannedStation struct {
	ID       string
	Channels []PlannedChannel
	Plate    map[string]string
}

// PlannedChannel is what a series is taken for.
type PlannedChannel struct {
	Series                     int
	Channel, Unit, Scale, Span string
}

const (
	firstRunPath = "/first-run"
	mostFirstRun = 512 << 10 // bytes of a form
	spareSlots   = 2         // stations that people may add to those proposed
	mostRows     = 300       // of values that are taken for nothing
)

// firstRun shows what was heard, and takes what the form says.
func (s *site) firstRun(w http.ResponseWriter, r *http.Request) {
	if r.Method != http.MethodPost {
		s.render(w, "firstrun.html", s.firstRunPage(r, nil))
		return
	}
	r.Body = http.MaxBytesReader(w, r.Body, mostFirstRun)
	if err := r.ParseForm(); err != nil {
		plain(w, http.StatusBadRequest, "cannot read the form: "+err.Error())
		return
	}
	v := s.firstRunPage(r, nil)
	switch r.PostFormValue("do") {
	case "listen":
		at := ListenAt{strings.TrimSpace(r.PostFormValue("broker")), strings.TrimSpace(r.PostFormValue("user")), r.PostFormValue("password"), strings.TrimSpace(r.PostFormValue("filter"))}
		if err := s.FirstRun.Begin(at); err != nil {
			v.ListenAt, v.Problem = at, err.Error()
			v.Password = ""
			s.renderAs(w, http.StatusBadRequest, "firstrun.html", v)
			return
		}
		http.Redirect(w, r, firstRunPath, http.StatusSeeOther)
	case "stop":
		s.FirstRun.Stop()
		http.Redirect(w, r, firstRunPath, http.StatusSeeOther)
	case "show", "file":
		s.proposed(w, r)
	default:
		plain(w, http.StatusBadRequest, "do must be listen, stop, show or file")
	}
}

// proposed answers with the file of what the form says: on the page, or to keep.
func (s *site) proposed(w http.ResponseWriter, r *http.Request) {
	e := editsOf(r)
	v := s.firstRunPage(r, e)
	file, faults, err := s.FirstRun.Write(e.plan(s.FirstRun.State()))
	if err != nil {
		v.Problem = err.Error()
		s.renderAs(w, http.StatusBadRequest, "firstrun.html", v)
		return
	}
	if r.PostFormValue("do") == "file" {
		h := w.Header()
		h.Set("Content-Type", "application/yaml; charset=utf-8")
		h.Set("Content-Disposition", `attachment; filename="strokewise.yaml"`)
		h.Set("Cache-Control", "no-store")
		_, _ = w.Write(file) // a reader that went away is no fault of ours
		return
	}
	v.File, v.Faults = string(file), faults
	s.render(w, "firstrun.html", v)
}

// edits are what a form says.
type edits struct{ r *http.Request }

func editsOf(r *http.Request) *edits { return &edits{r} }

// field returns a field of the form, else what stands for it.
func (e *edits) field(name, otherwise string) string {
	if e == nil {
		return otherwise
	}
	if list, ok := e.r.PostForm[name]; ok && len(list) > 0 {
		return strings.TrimSpace(list[0])
	}
	return otherwise
}

// plan returns what the form says, with what is proposed where it says nothing.
func (e *edits) plan(h Heard) Plan {
	p := Plan{Site: e.field("site", h.Site)}
	for k, slot := range slotsOf(&h, e) {
		if slot.Dropped {
			continue
		}
		st := PlannedStation{ID: slot.ID, Plate: map[string]string{}}
		for _, row := range slot.Rows {
			if row.Channel != "" {
				st.Channels = append(st.Channels, PlannedChannel{row.Series, row.Channel, row.Unit, row.Scale, row.Span})
			}
		}
		for _, step := range h.Steps {
			for _, key := range step.Keys {
				if v := e.field("plate."+strconv.Itoa(k)+"."+key.Name, ""); v != "" {
					st.Plate[key.Name] = v
				}
			}
		}
		if len(st.Channels) > 0 {
			p.Stations = append(p.Stations, st)
		}
	}
	return p
}
