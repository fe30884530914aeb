package pipeline_test

import (
	"fmt"
	"sort"
	"strings"
	"testing"
	"text/tabwriter"

	"strokewise/analyzer/station"
	"strokewise/cmd/internal/pipeline"
	"strokewise/collector/rig"
	"strokewise/collector/rig/draw"
	"strokewise/rules"
)

// sensorFault is a fault of a sensor and what must be said of it.
type sensorFault struct {
	name   string
	faults []rig.Fault // From is set by the test
	start  bool        // it is there from the start
	says   []string    // one of them
	alarm  string
	also   string // another alarm that says it
	unseen uint64 // the station where it cannot be told, 0: none
}

func faulty(k rig.Kind, level float64) []rig.Fault { return []rig.Fault{{Kind: k, Level: level}} }

const (
	frozenAlarm      = "sensor-frozen"
	implausibleAlarm = "sensor-implausible"
)

var sensorFaults = []sensorFault{
	{name: "outlet frozen", faults: faulty(rig.SensorFrozen, 0), says: []string{"the outlet reading stands still"}, alarm: frozenAlarm},
	{name: "inlet frozen", faults: faulty(rig.InletFrozen, 0), says: []string{"the inlet reading stands still"}, alarm: frozenAlarm},
	{name: "outlet +20 kPa", faults: faulty(rig.SensorOffset, 20e3), says: []string{"the outlet reading rose by "}, alarm: implausibleAlarm},
	{name: "outlet -30 kPa", faults: faulty(rig.SensorOffset, -30e3), says: []string{"the outlet reading fell by "}, alarm: implausibleAlarm},
	{name: "inlet +20 kPa", faults: faulty(rig.InletOffset, 20e3), says: []string{"the inlet reading rose by "}, alarm: implausibleAlarm},
	{name: "inlet -30 kPa", faults: faulty(rig.InletOffset, -30e3), says: []string{"the inlet reading fell by "}, alarm: implausibleAlarm},
	{name: "swapped", faults: faulty(rig.SensorsSwapped, 0), says: []string{"exchanged"}, alarm: implausibleAlarm},
	{name: "swapped from the start", start: true, faults: faulty(rig.SensorsSwapped, 0), says: []string{"exchanged"}, alarm: implausibleAlarm},
	{name: "both bar as kPa", faults: faulty(rig.WrongUnit, 0.01), says: []string{"bar that is declared as kPa"}, alarm: implausibleAlarm},
	{name: "both bar as kPa from the start", start: true, faults: faulty(rig.WrongUnit, 0.01), says: []string{"bar that is declared as kPa"}, alarm: implausibleAlarm},
	{name: "both psi as kPa from the start", start: true, faults: faulty(rig.WrongUnit, 1/6.894757), says: []string{"psi that is declared as kPa"}, alarm: implausibleAlarm},
	{name: "both kPa as psi from the start", start: true, faults: faulty(rig.WrongUnit, 6.894757), says: []string{"kPa that is declared as psi"}, alarm: implausibleAlarm},
	{name: "outlet bar as kPa", faults: faulty(rig.OutletUnit, 0.01), says: []string{"bar that is declared as kPa"}, alarm: implausibleAlarm},
	{name: "outlet bar as kPa from the start", start: true, faults: faulty(rig.OutletUnit, 0.01), says: []string{"bar that is declared as kPa"}, alarm: implausibleAlarm},
	{name: "outlet psi as kPa from the start", start: true, faults: faulty(rig.OutletUnit, 1/6.894757), says: []string{"psi that is declared as kPa"}, alarm: implausibleAlarm},
	{name: "inlet bar as kPa", faults: faulty(rig.InletUnit, 0.01), says: []string{"bar that is declared as kPa"}, alarm: implausibleAlarm},
	{name: "inlet psi as kPa from the start", start: true, faults: faulty(rig.InletUnit, 1/6.894757), says: []string{"psi that is declared as kPa"}, alarm: implausibleAlarm},
	{name: "inlet kPa as psi from the start", start: true, faults: faulty(rig.InletUnit, 6.894757), says: []string{"kPa that is declared as psi"}, alarm: implausibleAlarm},
	{name: "outlet kPa as bar", faults: faulty(rig.OutletUnit, 90), says: []string{"the outlet reads"}, alarm: implausibleAlarm},
	{name: "outlet saturated", start: true, faults: faulty(rig.OutletClipped, -0.03), says: []string{"saturated"}, alarm: implausibleAlarm, also: frozenAlarm, unseen: quick},
	{name: "inlet saturated", start: true, faults: faulty(rig.InletClipped, -0.005), says: []string{"saturated"}, alarm: implausibleAlarm, also: frozenAlarm, unseen: quick},
}

// quick is the station whose strokes take few of its 20 samples a second: what it reads below a sensor's top
// is work at every sample, so a saturated sensor with noise looks as a sound one without noise at a steady
// header, or at a governor that ends runs at the same pressure.
const quick = 7

const faultAt = 400 // s, at the earliest

// sensorStations are the random stations of which sensors fail: with and without a leak,
// doubling and quadrupling, at 100, 50 and 20 Hz.
var sensorStations = []uint64{1, 2, 4, 5, 7, 12}

// onset gives when a fault sets in at a station: anywhere in its rhythm.
func onset(seed uint64) station.Instant {
	return rigStart.Add(int64((faultAt + 2.37*float64(seed)) * 1e9)).Floor(100 * station.Millisecond)
}

// of gives a random station with the fault. Levels of clipping are shares below set or header.
func (f *sensorFault) of(seed uint64) rig.Spec {
	s := draw.Steady(seed, []float64{100, 50, 20}[(seed/3)%3])
	for _, x := range f.faults {
		if !f.start {
			x.From = onset(seed)
		}
		switch x.Kind {
		case rig.OutletClipped:
			x.Level = float64(int((1+x.Level)*float64(s.Plate.Set)/1e3)) * 1e3
		case rig.InletClipped:
			x.Level = float64(int((1+x.Level)*s.Params.Supply.HeaderGauge/1e3)) * 1e3
		}
		s.Faults = append(s.Faults, x)
	}
	return s
}

// told is what came of a fault at a station.
type told struct {
	after float64 // s until it was named, -1: never
	words string
	alarm int            // times that the alarm of the fault was raised
	made  []string       // figures of leak and supply that were made of readings since
	other map[string]int // alarms of the machine
}

// tell plays a station and notes when the fault was named.
func (f *sensorFault) tell(seed uint64, counter bool, seconds int64) (told, *pipeline.Unit) {
	s := f.of(seed)
	s.Sensors.Counter = counter
	from := onset(seed)
	if f.start {
		from = rigStart
	}
	out := told{after: -1, other: map[string]int{}}
	u, _ := play(s, seconds, func(u *pipeline.Unit) {
		if u.Status.State != station.Blind || u.Status.At < from {
			return
		}
		out.made = madeSince(u, from)
		for _, w := range f.says {
			if out.after < 0 && strings.Contains(u.Status.StateReason.String(), w) {
				out.after = float64(u.Status.At.Sub(from)) * 1e-9
			}
		}
	})
	out.words, out.alarm = u.Status.StateReason.String(), raised(u, f.alarm)
	if f.also != "" {
		out.alarm += raised(u, f.also)
	}
	leaks := false
	for _, x := range s.Faults {
		leaks = leaks || x.Kind == rig.OutletLeak
	}
	for _, a := range u.Out.Transitions {
		if a.To == rules.Unacknowledged && !strings.HasPrefix(a.Alarm, "sensor-") && !(leaks && a.Alarm == rules.OutletLeak) {
			out.other[a.Alarm]++
		}
	}
	return out, u
}

// madeSince gives the figures of leak and supply whose window ended after a time.
func madeSince(u *pipeline.Unit, from station.Instant) (made []string) {
	for f := range u.Status.Estimates {
		e, k := &u.Status.Estimates[f], &station.Figures[f]
		if (k.Group == station.GroupLeak || k.Group == station.GroupSupply) && e.Known() && e.At > from.Add(station.Second) {
			made = append(made, k.Name)
		}
	}
	return made
}

func names(m map[string]int) string {
	var all []string
	for n, k := range m {
		all = append(all, fmt.Sprintf("%s x%d", n, k))
	}
	sort.Strings(all)
	return strings.Join(all, ", ")
}

// Each fault of a sensor on random virtual stations, with and without their counter: named
// within five minutes, and never taken for a fault of the machine. Source of the truth:
// collector/rig.
func TestSensorFaultsAreNamed(t *testing.T) {
	t.Parallel()
	if raced {
		t.Skip("one goroutine's arithmetic: run without the race detector by make test's second step")
	}
	var table strings.Builder
	w := tabwriter.NewWriter(&table, 0, 0, 1, ' ', 0)
	fmt.Fprintln(w, "fault\tnamed\twithin s\tmachine alarms\t")
	for _, f := range sensorFaults {
		named, all, worst, other := 0, 0, 0.0, map[string]int{}
		for _, seed := range sensorStations {
			for _, counter := range []bool{true, false} {
				got, u := f.tell(seed, counter, faultAt+420)
				if all++; f.unseen == seed && got.alarm == 0 {
					t.Logf("%s, station %d, counter %v: known miss", f.name, seed, counter)
				} else if got.after >= 0 && got.after <= 300 && got.alarm >= 1 {
					named++
					worst = max(worst, got.after)
				} else {
					t.Errorf("%s, station %d, counter %v: not named, or %s raised %d times: %s (%s)", f.name, seed, counter, f.alarm, got.alarm, u.Status.State, got.words)
				}
				for a, n := range got.other {
					other[a] += n
					t.Errorf("%s, station %d, counter %v: %s was raised", f.name, seed, counter, a)
				}
				if len(got.made) > 0 {
					t.Errorf("%s, station %d, counter %v: made of the faulty stretch: %v", f.name, seed, counter, got.made)
				}
			}
		}
		fmt.Fprintf(w, "%s\t%d of %d\t%.0f\t%s\t\n", f.name, named, all, worst, names(other))
	}
	w.Flush()
	t.Logf("\n%s", table.String())
}

// A station that is shut down while one of its sensors is not believed counts as charged,
// whatever the sensor reads, and pressure-left says so. Where the inlet itself is frozen
// nothing but the valve's signal tells the shutdown.
func TestPressureIsLeftBehindADoubtedSensor(t *testing.T) {
	t.Parallel()
	if raced {
		t.Skip("one goroutine's arithmetic: run without the race detector by make test's second step")
	}
	for _, f := range sensorFaults {
		for _, seed := range sensorStations[:3] {
			for _, counter := range []bool{true, false} {
				if f.name == "inlet frozen" {
					continue
				}
				s := f.of(seed)
				s.Sensors.Counter = counter
				s.Plate.Grace = 60e9
				shut := rigStart.Add(800 * station.Second)
				s.Faults = append(s.Faults, rig.Fault{Kind: rig.Shutdown, From: shut})
				early := 0
				u, _ := play(s, 1000, func(u *pipeline.Unit) {
					if u.Status.At < shut {
						early = raised(u, rules.PressureLeft)
					}
				})
				if early != 0 || raised(u, rules.PressureLeft) != 1 {
					t.Errorf("%s, station %d, counter %v: pressure-left was raised %d times before and %d times in all; %s (%s), shut down at %s",
						f.name, seed, counter, early, raised(u, rules.PressureLeft), u.Status.State, u.Status.StateReason.String(), u.Status.ShutdownAt)
				}
			}
		}
	}
}

// Sound sensors are never doubted: twenty random stations, with their faults of the machine,
// with and without a counter.
func TestSoundSensorsOfRandomStations(t *testing.T) {
	if raced {
		t.Skip("one goroutine's arithmetic: run without the race detector by make test's second step")
	}
	for seed := range uint64(20) {
		for _, counter := range []bool{true, false} {
			s := draw.Steady(seed, []float64{100, 50, 20}[(seed/3)%3])
			s.Sensors.Counter = counter
			at := func(sec int64) station.Instant { return rigStart.Add(sec * station.Second) }
			machine := []rig.Fault{{Kind: rig.SupplyNarrow, From: at(300), Until: at(500)}, {Kind: rig.HeaderLow, From: at(550), Until: at(650)},
				{Kind: rig.Shutdown, From: at(700), Until: at(800)}, {Kind: rig.Vented, From: at(900), Until: at(1050)}, {Kind: rig.Trapped, From: at(1150)}}
			s.Faults = append(s.Faults, machine...)
			said := map[string]int{}
			play(s, 1300, func(u *pipeline.Unit) {
				if u.Stepped() && u.Status.State == station.Blind && u.Status.At > at(5) {
					said[u.Status.StateReason.String()]++
				}
			})
			if len(said) > 0 {
				t.Errorf("station %d, counter %v: %v", seed, counter, said)
			}
		}
	}
}
