// Package rig is a set of virtual boost stations: a physics model each, with a rhythm of
// production, faults that set in and grow, and sensors with faults of their own. It
// publishes what edge sensors would send, or writes recordings with their truth. It
// shares no physics with the analyzer.
package rig

import (
	"fmt"
	"math"
	"sort"
	"strings"

	"strokewise/analyzer/station"
)

// Kind is a kind of fault.
type Kind uint8

// The kinds of fault of a station, then those of its sensors.
const (
	SupplyNarrow   Kind = iota // level: share of the supply's conductance that is lost
	FilterClogging             // the same, meant to grow
	HeaderLow                  // level: Pa by which the header drops
	OutletLeak                 // level: sonic conductance in front of the regulator, m³/(s·Pa)
	BranchLeak                 // level: the same behind the regulator
	CheckValveLeak             // level: conductance back through one outlet check valve
	SealWorn                   // level: conductance past the governor into the drive side
	ReliefLow                  // level: Pa by which the relief valve opens too early
	SetHigh                    // level: Pa by which the set pressure is raised, out of reach
	Hunting                    // level: share of the governor's hysteresis that is lost
	Shutdown                   // the supply is closed, its line vented, and the tank stays charged
	Trapped                    // the supply is closed and its line stays charged too
	Vented                     // the supply is closed and the tank is vented
	Uneven                     // level: share by which one side's strokes are throttled
	HeaderWeak                 // level: Pa by which the header falls while 10 L/s ANR are drawn
	PistonStuck                // the piston is jammed
	FeedNarrow                 // level: share of the drive feed's conductance that is lost
	SetLow                     // level: Pa by which the set pressure is lowered
	SensorNoise                // level: further noise, Pa rms
	SensorOffset               // level: Pa
	SensorFrozen               // the reading stands still
	SensorDropped              // level: share of samples that are lost
	SensorsSwapped             // inlet and outlet are exchanged
	WrongUnit                  // level: factor on the readings
	ClockJump                  // level: s by which the device's clock is set
	CounterBounce              // level: share of increments that are counted twice
	CounterReset               // the counter starts again at zero
	CounterRolls               // level: count at which the counter rolls over
	InletOffset                // level: Pa
	InletFrozen                // the inlet's reading stands still
	InletUnit                  // level: factor on the inlet's readings
	OutletUnit                 // level: factor on the outlet's readings
	InletClipped               // level: Pa gauge, the top of the inlet sensor's range
	OutletClipped              // level: Pa gauge, the top of the outlet sensor's range
	CounterMisses              // level: share of increments that are not counted
	HoseBurst                  // level: m, diameter of the hole in a hose behind the tank, in front of the regulator
	DumpStuck                  // the tank's vent valve stands open while the supply feeds the station
	GovernorStuck              // the governor does not close: strokes go on until the forces balance
	ReliefStuck                // the relief valve does not open
	GaugeBled                  // level: s, time constant at which the outlet's gauge line empties behind its closed cock
	NumKinds
)

// kind describes a kind of fault.
type kind struct {
	name, about, unit string
	usual             float64 // level where none is given, SI
}

// units are those in which people give levels, by what they are in SI.
var units = map[string]float64{"": 1, "1": 1, "kPa": 1e3, "dm³/(s·bar)": 1e-8, "s": 1, "mm": 1e-3}

var kinds = [NumKinds]kind{
	{"supply-narrow", "the supply line is too narrow", "1", 0.7},
	{"filter-clogging", "the filter of the supply clogs", "1", 0.75},
	{"header-low", "the header's pressure is low", "kPa", 150e3},
	{"outlet-leak", "a leak at the outlet, in front of the regulator", "dm³/(s·bar)", 2e-9},
	{"branch-leak", "a leak behind the regulator", "dm³/(s·bar)", 2e-9},
	{"check-valve-leak", "an outlet check valve leaks back", "dm³/(s·bar)", 2e-9},
	{"seal-worn", "a worn drive seal feeds the drive side past the governor", "dm³/(s·bar)", 2e-9},
	{"relief-low", "the relief valve opens too early", "kPa", 300e3},
	{"set-high", "the set pressure is out of reach", "kPa", 500e3},
	{"hunting", "the governor has lost its hysteresis", "1", 0.9},
	{"shutdown", "the supply is closed and its line vented, and the tank stays charged", "", 1},
	{"trapped-inlet", "the supply is closed, and line and tank stay charged", "", 1},
	{"vented", "the supply is closed and the tank is vented", "", 1},
	{"uneven", "one side's strokes are throttled", "1", 0.4},
	{"header-weak", "the header falls while air is drawn", "kPa", 80e3},
	{"piston-stuck", "the piston is jammed", "", 1},
	{"feed-narrow", "the way of the driving air is narrowed: slow strokes", "1", 0.5},
	{"set-low", "the set pressure is lowered", "kPa", 80e3},
	{"sensor-noise", "the pressure sensors are noisy", "kPa", 3e3},
	{"sensor-offset", "the outlet sensor reads too high", "kPa", 20e3},
	{"sensor-frozen", "the outlet reading stands still", "", 1},
	{"sensor-dropped", "samples are lost", "1", 0.2},
	{"sensors-swapped", "inlet and outlet sensors are exchanged", "", 1},
	{"wrong-unit", "pressures come in another unit", "1", 0.01},
	{"clock-jump", "the device's clock is set back", "s", -3600},
	{"counter-bounce", "the counter's contact bounces", "1", 0.3},
	{"counter-reset", "the counter starts again", "", 1},
	{"counter-rolls", "the counter rolls over", "1", 65536},
	{"inlet-offset", "the inlet sensor reads too high", "kPa", 20e3},
	{"inlet-frozen", "the inlet reading stands still", "", 1},
	{"inlet-unit", "inlet pressures come in another unit", "1", 0.01},
	{"outlet-unit", "outlet pressures come in another unit", "1", 0.01},
	{"inlet-clipped", "the inlet sensor's range ends too low", "kPa", 550e3},
	{"outlet-clipped", "the outlet sensor's range ends too low", "kPa", 900e3},
	{"counter-misses", "the counter's switch misses increments", "1", 0.3},
	{"hose-burst", "a hose of the boosted side has burst: a hole of so many mm", "mm", 3.8e-3},
	{"dump-stuck", "the tank's vent valve stands open while the supply is open", "", 1},
	{"governor-stuck", "the governor does not close: the outlet rises to what the forces allow", "", 1},
	{"relief-stuck", "the relief valve does not open", "", 1},
	{"gauge-bled", "the outlet's gauge cock is closed and its line bleeds down, while the tank stays charged", "s", 3},
}

// String returns the kind's name.
func (k Kind) String() string {
	if k < NumKinds {
		return kinds[k].name
	}
	return "unknown"
}

// About says what the fault is.
func (k Kind) About() string { return kinds[k%NumKinds].about }

// Unit returns the unit in which people give the level, "" where there is none.
func (k Kind) Unit() string { return kinds[k%NumKinds].unit }

// Usual returns the level that is taken where none is given, in the kind's unit.
func (k Kind) Usual() float64 { return kinds[k%NumKinds].usual / units[k.Unit()] }

// ParseKind finds a kind by its name.
func ParseKind(name string) (Kind, bool) {
	for i := range kinds {
		if kinds[i].name == name {
			return Kind(i), true
		}
	}
	return 0, false
}

// KindNames lists the kinds, in order of name.
func KindNames() []string {
	out := make([]string, 0, NumKinds)
	for i := range kinds {
		out = append(out, kinds[i].name)
	}
	sort.Strings(out)
	return out
}

// Fault is something that goes wrong, from a time on.
type Fault struct {
	Kind  Kind
	Level float64         // SI; 0: the usual one of the kind
	From  station.Instant // when it sets in, 0: from the start
	Until station.Instant // when it ends, 0: never
	Grow  int64           // ns over which it grows to its level, 0: at once
}

// NewFault makes a fault of a named kind. The level is in the kind's unit, 0 is the usual
// one.
func NewFault(name string, level float64, from station.Instant, grow int64) (Fault, error) {
	k, ok := ParseKind(name)
	if !ok {
		return Fault{}, fmt.Errorf("cannot cause %.40q: the kinds of fault are %s", name, strings.Join(KindNames(), ", "))
	}
	if math.IsNaN(level) || math.IsInf(level, 0) || level < 0 && k != ClockJump && k != SensorOffset && k != InletOffset {
		return Fault{}, fmt.Errorf("cannot cause %s at level %g: expected a positive number of %s", name, level, k.Unit())
	}
	return Fault{Kind: k, Level: level * units[k.Unit()], From: from, Grow: grow}, nil
}

// At returns the level at time t, 0 before the fault sets in and after it ends.
func (f *Fault) At(t station.Instant) float64 {
	if t < f.From || f.Until != 0 && t >= f.Until {
		return 0
	}
	level := f.Level
	if level == 0 {
		level = kinds[f.Kind].usual
	}
	if since := t.Sub(f.From); f.Grow > 0 && since < f.Grow {
		return level * float64(since) / float64(f.Grow)
	}
	return level
}

// levels are the levels of all kinds at one instant.
type levels [NumKinds]float64

// levelsAt returns the greatest level of each kind.
func levelsAt(faults []Fault, t station.Instant) levels {
	var out levels
	for i := range faults {
		f := &faults[i]
		if v := f.At(t); v > out[f.Kind] || v < 0 {
			out[f.Kind] = v
		}
	}
	return out
}
