package app

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"strokewise/analyzer/station"
	"strokewise/deploy/peers"
	"strokewise/rules"
)

// nightPlant returns n stations of a site whose shift ends a minute after the time from, with a
// grace time of two minutes.
func nightPlant(t *testing.T, n int) (o Options, from station.Instant) {
	broker := peers.Mosquitto(t)
	o = massPlant(t, broker.Addr, "http://127.0.0.1:1", n)
	from = station.InstantOf(time.Now().Add(-2 * time.Hour)).Floor(60 * station.Second)
	end := from.Time().Add(time.Minute)
	to := end.Hour()*60 + end.Minute()
	c := station.Calendar{Zone: "UTC", Grace: 2, Shifts: []station.Shift{{Days: [7]bool{true, true, true, true, true, true, true}, From: (to + 720) % 1440, To: to}}}
	for i := range o.Stations {
		o.Stations[i].Plate.Calendar, o.Stations[i].Plate.Counts = c.Text(), station.CountsCycles
	}
	return o, from
}

// night puts n seconds in, of stations that work or hold. A cycle takes two seconds.
func (f *feeder) night(n int, works func(i int) bool) {
	f.t.Helper()
	for range n {
		start := f.start.Add(int64(f.now) * station.Second)
		var parts [station.Partitions][]station.Record
		for i, s := range f.a.configured() {
			for len(f.cycles) <= i {
				f.cycles = append(f.cycles, 0)
			}
			k := s.Plate.Key
			noise := 100 * float64((f.now*7+i)%5)
			two := func(x float64) []float64 { return []float64{x + noise, x - noise} }
			if works(i) && f.now%2 == 0 {
				f.cycles[i]++
			}
			b := func(c station.Channel, v []float64) station.Block {
				return station.Block{Channel: c, Start: start, Step: station.Second / 2, Values: v}
			}
			parts[k.Partition()] = append(parts[k.Partition()], station.Record{Key: k, Arrival: start.Add(station.Second), Blocks: []station.Block{
				b(station.InletPressure, two(600e3)), b(station.OutletPressure, two(890e3)), b(station.Cycles, []float64{f.cycles[i], f.cycles[i]})}})
		}
		for p, records := range parts {
			if len(records) == 0 {
				continue
			}
			if _, err := f.a.samples.Append(f.t.Context(), p, records); err != nil {
				f.t.Fatal(err)
			}
		}
		f.now++
	}
	f.settle()
}

// decide lets the sites decide, and their answers be worked off.
func (f *feeder) decide() {
	f.t.Helper()
	if err := f.a.overtime(f.t.Context()); err != nil {
		f.t.Fatal(err)
	}
	f.settle()
}

// left lists the stations with an open pressure-left.
func left(a *App) (out []string) {
	for _, s := range a.board.All() {
		if _, ok := shown(a, s.Plate.Key, rules.PressureLeft); ok {
			out = append(out, s.Plate.Key.Station)
		}
	}
	return out
}

// Six stations of eight work on after the calendar's end, two are idle and charged: one finding
// that names the six, pressure-left for the two. It outlives a restart; one that stops has its own
// alarm; when all have stopped, the finding ends.
func TestOvertimeIsOneFindingOfTheSite(t *testing.T) {
	t.Parallel() // it waits more than it works
	o, from := nightPlant(t, 8)
	k := station.SiteKey(o.Stations[0].Plate.Key.Site)
	a, stop := running(t, o)
	defer func() { stop() }()
	f := &feeder{t: t, a: a, start: from}
	six := func(i int) bool { return i < 6 }
	f.night(190, six) // the shift ends after 60 s, the grace time after 180
	f.decide()
	f.night(20, six)
	f.decide()
	f.night(300, six) // beyond the two minutes of waiting
	waitFor(t, "the finding", func() bool { h, _ := a.board.Header(k); return len(h.Alarms) == 1 })
	h, _ := a.board.Header(k)
	if x := h.Alarms[0].Transition; x.Alarm != rules.OverTime || !strings.Contains(x.Message, "6 of 8 stations") || len(h.Under) != 6 {
		t.Errorf("%+v, under it %v", x, h.Under)
	}
	if got := fmt.Sprint(left(a)); got != "[station-6 station-7]" {
		t.Fatalf("pressure-left at %s", got)
	}
	if _, err := a.Command(t.Context(), k, station.Command{Kind: "acknowledge", Alarm: rules.OverTime, By: "Ada"}); err != nil {
		t.Fatal(err)
	}
	waitFor(t, "its acknowledgement", func() bool { h, _ := a.board.Header(k); return h.Alarms[0].State == rules.Acknowledged })
	_, text := page(t, a, "/")
	if !strings.Contains(text, "over-time") || !strings.Contains(text, "site "+k.Site) {
		t.Error("the pages do not show it")
	}
	stop()
	execute(t, o, `DELETE FROM snapshots`) // the log says it all
	a, stop = running(t, o)
	f.a = a
	f.decide()
	f.night(60, six)
	if got := fmt.Sprint(left(a)); got != "[station-6 station-7]" {
		t.Fatalf("after a restart pressure-left at %s", got)
	}
	// the grace time of the calendar is two minutes; the site may have given its last answer, for two minutes
	// more, on a state that was older than that
	for range 48 {
		f.night(10, func(i int) bool { return i > 0 && i < 6 })
		if len(left(a)) == 3 {
			break
		}
	}
	waitFor(t, "pressure-left where one stopped", func() bool { return fmt.Sprint(left(a)) == "[station-0 station-6 station-7]" })
	f.night(400, func(int) bool { return false })
	f.decide()
	waitFor(t, "the end of the finding", func() bool { h, _ := a.board.Header(k); return len(h.Alarms) == 0 })
	waitFor(t, "pressure-left where all stopped", func() bool { return len(left(a)) == 8 })
}

// Where the site's writer does not answer, every station has its HIGH after two minutes; and one
// station of many that strokes all night is no overtime.
func TestOvertimeThatNobodyDecides(t *testing.T) {
	t.Parallel() // it waits more than it works
	for _, c := range []struct {
		name    string
		decides bool
		works   int
	}{{"no writer", false, 4}, {"a single station", true, 1}} {
		o, from := nightPlant(t, 4)
		a, stop := running(t, o)
		f := &feeder{t: t, a: a, start: from}
		if !c.decides {
			a.headers.mu.Lock() // it is stuck
		}
		works := func(i int) bool { return i < c.works }
		for range 18 {
			f.night(10, works)
		}
		f.night(60, works)
		if got := len(left(a)); got != 4-c.works {
			t.Errorf("%s: within the two minutes %d", c.name, got)
		}
		f.night(70, works)
		if got := len(left(a)); got != 4 {
			t.Errorf("%s: after them %d", c.name, got)
		}
		if !c.decides {
			a.headers.mu.Unlock()
		}
		if h, _ := a.board.Header(station.SiteKey(o.Stations[0].Plate.Key.Site)); len(h.Alarms) > 0 {
			t.Errorf("%s: %+v", c.name, h.Alarms)
		}
		stop()
	}
}
