package app

import (
	"fmt"
	"testing"
	"time"

	"strokewise/analyzer/station"
	"strokewise/deploy/peers"
)

// standing puts n seconds in, of stations that hold at 895 kPa and whose inlets read so much, Pa, and lets
// their header answer every ten seconds. Nothing but the inlet tells whether the supply is open.
func (f *feeder) standing(n int, inlet func(i int) float64) {
	f.t.Helper()
	for s := range n {
		start := f.start.Add(int64(f.now) * station.Second)
		var records []station.Record
		for i, st := range f.a.configured() {
			noise := 100 * float64((f.now*7+i)%5)
			b := func(c station.Channel, x float64) station.Block {
				return station.Block{Channel: c, Start: start, Step: station.Second / 2, Values: []float64{x + noise, x - noise}}
			}
			records = append(records, station.Record{Key: st.Plate.Key, Arrival: start.Add(station.Second), Blocks: []station.Block{
				b(station.InletPressure, inlet(i)), b(station.OutletPressure, 895e3)}})
		}
		if err := f.a.Put(f.t.Context(), records...); err != nil {
			f.t.Fatal(err)
		}
		if f.now++; s%10 == 9 || s == n-1 {
			f.answered()
		}
	}
}

// answered waits until all is worked off, and the header has answered unless its writer is dead.
func (f *feeder) answered() {
	f.t.Helper()
	if f.dead {
		f.settle()
		return
	}
	if err := f.a.Settle(f.t.Context()); err != nil {
		f.t.Fatal(err)
	}
}

// lowPlant runs six idle stations with a grace time of a minute, whose header falls from 600 to 450 kPa.
func lowPlant(t *testing.T) (o Options, f *feeder, stop func()) {
	o = massPlant(t, peers.Mosquitto(t).Addr, "http://127.0.0.1:1", 6)
	for i := range o.Stations {
		o.Stations[i].Plate.Grace = time.Minute
	}
	a, stop := running(t, o)
	f = &feeder{t: t, a: a, start: station.InstantOf(time.Now()).Floor(station.Second)}
	f.standing(60, func(int) float64 { return 600e3 })
	return o, f, stop
}

// Six idle stations follow their header down: none of them is told to be shut in, and a program that works
// the log off again concludes the same. One whose line is bled further is told within the ten seconds for
// which it is believed, and ten of this test's.
func TestIdleStationsFollowTheirHeader(t *testing.T) {
	o, f, stop := lowPlant(t)
	defer func() { stop() }()
	low := func(int) float64 { return 450e3 }
	f.standing(200, low)
	if got := left(f.a); len(got) > 0 {
		t.Fatalf("pressure-left at %v", got)
	}
	stop()
	execute(t, o, `DELETE FROM snapshots`)
	f.a, stop = running(t, o)
	f.standing(20, low)
	if got := left(f.a); len(got) > 0 {
		t.Fatalf("after the log was worked off again pressure-left at %v", got)
	}
	f.standing(30, func(i int) float64 { return map[bool]float64{true: 400e3, false: 450e3}[i == 2] })
	if got := fmt.Sprint(left(f.a)); got != "[station-2]" {
		t.Errorf("pressure-left at %s, expected station-2", got)
	}
	f.standing(60, func(i int) float64 { return map[bool]float64{true: 400e3, false: 600e3}[i == 2] })
	if got := fmt.Sprint(left(f.a)); got != "[station-2]" {
		t.Errorf("with the header back pressure-left at %s, expected station-2", got)
	}
}

// Where the header's writer is dead, every station has its HIGH: when the grace time is over, or two
// minutes after the last answer at most.
func TestIdleStationsWithoutTheirHeadersWriter(t *testing.T) {
	t.Parallel() // it waits more than it works
	for _, c := range []struct {
		name            string
		answered, after int // s that the header answers for, s after which all are told
	}{{"from the beginning", 0, 65}, {"after a while", 150, 121}} {
		_, f, stop := lowPlant(t)
		low := func(int) float64 { return 450e3 }
		f.standing(c.answered, low)
		if got := left(f.a); len(got) > 0 {
			t.Errorf("%s: pressure-left at %v while the header answers", c.name, got)
		}
		f.dead = true
		f.a.headers.mu.Lock() // its writer is stuck
		f.standing(c.after, low)
		f.a.headers.mu.Unlock()
		if got := left(f.a); len(got) != 6 {
			t.Errorf("%s: pressure-left at %v, expected all", c.name, got)
		}
		stop()
	}
}
