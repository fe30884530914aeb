package app

import (
	"path/filepath"
	"reflect"
	"slices"
	"testing"
	"time"

	"strokewise/analyzer/station"
	"strokewise/collector/intake"
	"strokewise/collector/rig"
	"strokewise/collector/topic"
	"strokewise/dashboards/board"
	"strokewise/dashboards/cost"
	"strokewise/dashboards/history"
)

// cutOff is a plant whose gateway is away for three quarters of an hour: 70 minutes of samples, of which those from outage to back come late.
type cutOff struct {
	specs  []rig.Spec
	start  station.Instant
	second map[station.Key][][]station.Block // the blocks of each second

	waiting []station.Record // to be put together
}

const (
	outage = 10 * 60 // s from the start
	back   = 55 * 60
	whole  = 70 * 60
)

// newCutOff simulates two of the demonstration's stations at 10 readings a second, one of them without its counter.
func newCutOff(t *testing.T) *cutOff {
	t.Helper()
	c := &cutOff{start: station.InstantOf(time.Now().Add(-whole * time.Second)).Floor(station.Minute60).Add(7 * station.Second), second: make(map[station.Key][][]station.Block)}
	specs, err := rig.Plant(c.start)
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"press-4", "press-9"} {
		s, err := rig.Find(specs, name)
		if err != nil {
			t.Fatal(err)
		}
		s.Sensors.Rate, s.Sensors.Counter = 10, name == "press-4"
		if name == "press-9" {
			s.Plate.Cadence = station.OnChange // whose silences are no holes
		}
		c.specs = append(c.specs, s)
		r := rig.New(s, c.start, 0)
		for n := range whole {
			var list []station.Block
			for _, b := range r.Until(c.start.Add(int64(n+1) * station.Second)) {
				b.Times, b.Values = slices.Clone(b.Times), slices.Clone(b.Values)
				list = append(list, b)
			}
			c.second[s.Plate.Key] = append(c.second[s.Plate.Key], list)
		}
	}
	return c
}

// options returns those of a run of its own.
func (c *cutOff) options(t *testing.T) Options {
	t.Helper()
	p, err := topic.Compile("boost/{site}/{station}")
	if err != nil {
		t.Fatal(err)
	}
	tariff := &cost.Tariffs{List: []cost.Tariff{{From: cost.Always, Rates: cost.RatesOf(0.12*3.6e6, station.Price{PerJoule: 0.18 / 3.6e6, Currency: "EUR"}, 0.3/3.6e6)}}}
	o := Options{Data: t.TempDir(), MaxBytes: 1e9, Keep: 48 * time.Hour, Listen: "127.0.0.1:0", BrokerListen: "127.0.0.1:0",
		Intake: intake.Options{Routes: []intake.Route{{Pattern: p}}}, Tariffs: map[string]*cost.Tariffs{rig.Northdock: tariff},
		Every: Intervals{Snapshot: time.Hour, Tick: time.Hour, Rebuild: time.Hour}}
	o.MQTT.ClientID = "test"
	for _, s := range c.specs {
		o.Stations = append(o.Stations, Station{Plate: s.Plate, Revision: "1"})
	}
	return o
}

// put stores one second of samples of a channel, or of all (NumChannels), which arrive at a second.
func (c *cutOff) put(t *testing.T, a *App, n, arrival int, only func(station.Channel) bool) {
	t.Helper()
	for _, s := range c.specs {
		r := station.Record{Key: s.Plate.Key, Arrival: c.start.Add(int64(arrival+1) * station.Second)}
		for _, b := range c.second[s.Plate.Key][n] {
			if only(b.Channel) {
				r.Blocks = append(r.Blocks, b)
			}
		}
		if len(r.Blocks) > 0 {
			c.waiting = append(c.waiting, r)
		}
	}
	if len(c.waiting) > 30 {
		c.flush(t, a)
	}
}

// flush puts what waits.
func (c *cutOff) flush(t *testing.T, a *App) {
	t.Helper()
	if err := a.Put(t.Context(), c.waiting...); err != nil {
		t.Fatal(err)
	}
	c.waiting = nil
}

func all(station.Channel) bool { return true }

// sums are what a run has stored of a station.
type sums struct {
	Minutes []station.Minute
	Hours   []history.Hour
	Gaps    []station.Gap
	States  [station.NumStates]int64 // ns, by intervals
	Figures []station.HourFigure
	Totals  board.Totals
	Costs   cost.Account // of hours
	Spent   cost.Account // of totals
	revised int
}

func (c *cutOff) stored(t *testing.T, o Options) map[station.Key]sums {
	t.Helper()
	s, err := history.Open(filepath.Join(o.Data, "history.db"), history.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	out := make(map[station.Key]sums)
	totals, err := s.Totals(t.Context())
	spent, err2 := s.TotalCosts(t.Context())
	if err != nil || err2 != nil {
		t.Fatal(err, err2)
	}
	for _, x := range o.Stations {
		k := x.Plate.Key
		w := sums{Totals: totals[k], Spent: spent[k]}
		var errs [6]error
		w.Minutes, errs[0] = s.Minutes(t.Context(), k, 0, 1<<62)
		w.Hours, errs[1] = s.Hours(t.Context(), k, 0, 1<<62)
		w.Gaps, errs[2] = s.Gaps(t.Context(), k, 0, 1<<62)
		w.Figures, errs[3] = s.Figures(t.Context(), k, 0, 1<<62)
		w.Costs, errs[4] = s.Costs(t.Context(), k, 0, 1<<62)
		intervals, err := s.Intervals(t.Context(), k, 0, 1<<62)
		errs[5] = err
		for _, e := range errs {
			if e != nil {
				t.Fatal(e)
			}
		}
		end := c.start.Add((whole - 300) * station.Second) // the last state is open, and is stored where another run saw it begin later
		for i, v := range intervals {
			w.States[v.State] += max(0, min(v.To, end).Sub(v.From))
			if i > 0 && intervals[i-1].To != v.From {
				t.Errorf("%s: states leave out or repeat %s to %s", k, intervals[i-1].To, v.From)
			}
		}
		for i := range w.Minutes {
			m := &w.Minutes[i]
			if m.Revised {
				w.revised++
			}
			m.Revised = false
			for _, p := range [...]*station.Gauge{&m.InletMean, &m.OutletMean, &m.OutletMax} {
				if *p != *p {
					*p = -1e9
				}
			}
		}
		sum := int64(0)
		for i := range w.Hours {
			sum += w.Hours[i].Revised
			w.Hours[i].Revised = 0
		}
		if int(sum) != w.revised {
			t.Errorf("%s: hours say that %d minutes are revised, %d are", k, sum, w.revised)
		}
		out[k] = w
	}
	return out
}

func equal(t *testing.T, want, got map[station.Key]sums) {
	t.Helper()
	for k, w := range want {
		g := got[k]
		if len(w.Minutes) < 65 {
			t.Fatalf("%s: %d minutes to compare", k, len(w.Minutes))
		}
		g.revised, w.revised = 0, 0
		a, b := reflect.ValueOf(w), reflect.ValueOf(g)
		for i := range a.NumField() - 1 {
			x, y := a.Field(i).Interface(), b.Field(i).Interface()
			if reflect.DeepEqual(x, y) {
				continue
			}
			t.Errorf("%s: %s differ from those of an undisturbed run", k, a.Type().Field(i).Name)
			if xs, ys := w.Minutes, g.Minutes; i == 0 {
				t.Logf("%d minutes, undisturbed %d", len(ys), len(xs))
				for i := range min(len(xs), len(ys)) {
					if !reflect.DeepEqual(xs[i], ys[i]) {
						t.Logf("\n got  %+v\n want %+v", ys[i], xs[i])
						break
					}
				}
				continue
			}
			t.Logf("\n got  %+v\n want %+v", y, x)
		}
	}
}

// A gateway that is cut off for three quarters of an hour and then sends live values with its buffer beside them: what is stored at the end is what an
// undisturbed run has stored. The expectation is that run, of the same samples in their order. The engine itself promises that
// results depend neither on the cut nor on disorder within the lateness.
func TestABufferBesideLiveValues(t *testing.T) {
	c := newCutOff(t)
	o := c.options(t)
	a, stop := running(t, o)
	for n := range whole {
		c.put(t, a, n, n, all)
	}
	c.flush(t, a)
	if err := a.rebuild(t.Context(), true); err != nil {
		t.Fatal(err)
	}
	stop()
	want := c.stored(t, o)
	for k, w := range want {
		if w.revised != 0 {
			t.Errorf("%s: %d minutes of the undisturbed run are revised", k, w.revised)
		}
	}
	const pace = 8 // seconds of the buffer a second
	outlet := func(ch station.Channel) bool { return ch == station.OutletPressure }
	rest := func(ch station.Channel) bool { return !outlet(ch) }
	for name, x := range map[string]struct {
		late    func(station.Channel) bool // what is cut off
		buffer  func(n int) int            // the second that is sent as the n-th of the buffer
		restart bool
	}{
		"in order":             {all, func(n int) int { return outage + n }, false},
		"newest first":         {all, func(n int) int { return back - 1 - n }, false},
		"a pressure alone":     {outlet, func(n int) int { return outage + n }, false},
		"stopped in the midst": {all, func(n int) int { return outage + n }, true},
	} {
		t.Run(name, func(t *testing.T) {
			o := c.options(t)
			a, stop := running(t, o)
			sent := 0
			for n := range whole {
				switch away := n >= outage && n < back; {
				case !away:
					c.put(t, a, n, n, all)
				case name == "a pressure alone":
					c.put(t, a, n, n, rest)
				}
				for ; n >= back && sent < min(back-outage, (n-back)*pace); sent++ {
					c.put(t, a, x.buffer(sent), n, x.late)
				}
				if n == back+200 && x.restart {
					c.flush(t, a)
					if err := a.rebuild(t.Context(), true); err != nil { // a part of it is worked off before
						t.Fatal(err)
					}
					stop()
					a, stop = running(t, o)
				}
			}
			c.flush(t, a)
			if err := a.Settle(t.Context()); err != nil {
				t.Fatal(err)
			}
			before := a.board.All()
			if err := a.rebuild(t.Context(), true); err != nil {
				t.Fatal(err)
			}
			for _, s := range c.specs {
				b, _ := a.board.Get(s.Plate.Key)
				if b.Totals != want[s.Plate.Key].Totals || !reflect.DeepEqual(b.Costs, want[s.Plate.Key].Spent) {
					t.Errorf("%s: the board shows %+v and %+v, want %+v and %+v", s.Plate.Key, b.Totals, b.Costs, want[s.Plate.Key].Totals, want[s.Plate.Key].Spent)
				}
			}
			for _, b := range before { // what is shown as a counter does not fall
				is, _ := a.board.Get(b.Plate.Key)
				if shown := is.Totals.AtLeast(&is.Reached); shown != shown.AtLeast(&b.Totals) {
					t.Errorf("%s: a counter fell: %+v, before %+v", b.Plate.Key, shown, b.Totals)
				}
			}
			stop()
			got := c.stored(t, o)
			equal(t, want, got)
			for k, g := range got {
				if g.revised < (back-outage)/60-1 {
					t.Errorf("%s: %d minutes are marked as revised", k, g.revised)
				}
			}
		})
	}

}
