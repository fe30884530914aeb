package pipeline_test

import (
	"fmt"
	"testing"

	"strokewise/analyzer/station"
	"strokewise/cmd/internal/pipeline"
	"strokewise/collector/rig"
	"strokewise/rules"
)

// upset is a station at which something happens at 900 s, in a plant that works around the clock.
type upset struct {
	station string
	rate    float64
	counter bool
	fault   rig.Fault
}

func (x upset) String() string {
	return fmt.Sprintf("%s, %g Hz, counter %v, %s %.3g", x.station, x.rate, x.counter, x.fault.Kind, x.fault.Level)
}

func (x upset) play(t *testing.T, seconds int64) *pipeline.Unit {
	x.fault.From = rigStart.Add(sets * station.Second)
	s := virtual(t, x.station, x.fault)
	s.Rhythm.Zone, s.Rhythm.Shifts = nil, nil
	s.Sensors.Rate, s.Sensors.Counter = x.rate, x.counter
	u, _ := play(s, seconds, nil)
	u.Flush()
	return u
}

// stay sums the time in a state from a second on, and returns the most changes of state in one
// minute.
func stay(u *pipeline.Unit, from int64, in func(station.State) bool) (seconds float64, most int) {
	minutes := map[int64]int{}
	for _, x := range u.Out.Intervals {
		if at := rigStart.Add(from * station.Second); x.To > at {
			if in(x.State) {
				seconds += float64(x.To.Sub(max(x.From, at))) * 1e-9
			}
			if x.From > at {
				minutes[x.From.Sub(rigStart)/station.Minute60]++
			}
		}
	}
	for _, n := range minutes {
		most = max(most, n)
	}
	return seconds, most
}

func raisedOf(u *pipeline.Unit, alarm string) int {
	n := 0
	for i := range u.Out.Transitions {
		if x := &u.Out.Transitions[i]; x.Alarm == alarm && x.To == rules.Unacknowledged {
			n++
		}
	}
	return n
}

// A station that strokes on is not shut down, however low its inlet is. The header falls by 150 kPa, or a
// hose bursts; the rig closes no supply, so any time shut down is wrong. Refuting it takes four strokes or two rises of the
// outlet, so some seconds each are allowed; pressure-left, after 300 s, is not.
func TestWhatStrokesIsNotShut(t *testing.T) {
	t.Parallel()
	if raced {
		t.Skip("one goroutine's arithmetic")
	}
	header, slowly := rig.Fault{Kind: rig.HeaderLow, Level: 150e3}, rig.Fault{Kind: rig.HeaderLow, Level: 150e3, Grow: 30 * station.Second}
	burst := rig.Fault{Kind: rig.OutletLeak, Level: holeC(5.4)}
	for _, x := range []upset{
		{"press-4", 20, false, header}, {"press-4", 10, true, slowly}, {"press-9", 100, true, header}, {"press-9", 20, false, header},
		{"press-9", 10, false, slowly}, {"pack-1", 20, false, slowly}, {"pack-2", 1, true, header}, {"pack-2", 1, true, slowly},
		{"press-4", 10, true, burst}, {"press-4", 20, true, burst}, {"pack-1", 10, true, burst}, {"pack-2", 1, true, burst},
	} {
		u := x.play(t, 2000)
		shut, _ := stay(u, sets, func(s station.State) bool {
			return s == station.Off || s == station.Residual || s == station.Venting
		})
		if shut > 60 || raisedOf(u, rules.PressureLeft) > 0 {
			t.Errorf("%s: told shut down for %.0f s of 1100, pressure-left %d times", x, shut, raisedOf(u, rules.PressureLeft))
		}
	}
}

// A supply that is closed with its line charged still is: strokes end, and the tank only loses. The
// rest of the last stroke is drawn from the line, so the inlet rests low. Truth: the rig closes it.
func TestATrappedLineIsStillShut(t *testing.T) {
	t.Parallel()
	if raced {
		t.Skip("one goroutine's arithmetic")
	}
	for _, rate := range []float64{20, 100} {
		for _, counter := range []bool{true, false} {
			x := upset{"press-4", rate, counter, rig.Fault{Kind: rig.Trapped, Level: 1}}
			u := x.play(t, 1700)
			if raisedOf(u, rules.PressureLeft) != 1 {
				t.Errorf("%s: pressure-left raised %d times", x, raisedOf(u, rules.PressureLeft))
			}
		}
	}
}

// A burst hose keeps the station at its limit: it strokes without pause, and its state does not
// flicker. Before, charging and stroking took turns twice a second.
func TestAStationAtItsLimitDoesNotFlicker(t *testing.T) {
	t.Parallel()
	if raced {
		t.Skip("one goroutine's arithmetic")
	}
	for _, x := range []upset{
		{"press-4", 100, true, rig.Fault{Kind: rig.OutletLeak, Level: holeC(3.8)}},
		{"press-4", 100, false, rig.Fault{Kind: rig.OutletLeak, Level: holeC(3.8)}},
		{"press-9", 100, true, rig.Fault{Kind: rig.OutletLeak, Level: holeC(7.5)}},
		{"pack-1", 20, true, rig.Fault{Kind: rig.OutletLeak, Level: holeC(5.4)}},
	} {
		u := x.play(t, 2000)
		works, most := stay(u, sets+60, station.State.Working)
		if works < 0.98*1040 || most > 6 {
			t.Errorf("%s: works for %.0f s of 1040, up to %d changes of state a minute", x, works, most)
		}
	}
}

// A jammed piston does not work. Where a counter serves, that is known after the slowest stroke's time;
// strokes as such are none in the rig from the fault on.
func TestAJammedPistonDoesNotWork(t *testing.T) {
	t.Parallel()
	if raced {
		t.Skip("one goroutine's arithmetic")
	}
	jam := rig.Fault{Kind: rig.PistonStuck, Level: 1}
	for _, x := range []upset{{"press-9", 100, true, jam}, {"press-9", 10, true, jam}, {"press-4", 20, true, jam}, {"pack-1", 100, true, jam}, {"pack-2", 1, true, jam}} {
		u := x.play(t, 1800)
		works, most := stay(u, sets+70, station.State.Working)
		if works > 0 || most > 1 {
			t.Errorf("%s: told to work for %.0f s, up to %d changes of state a minute", x, works, most)
		}
	}
}
