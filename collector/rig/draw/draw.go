// Package draw draws random virtual stations, within ranges that are written down with their
// reasons in one file.
package draw

import (
	"fmt"
	"math/rand/v2"
	"slices"

	"strokewise/analyzer/station"
	"strokewise/collector/rig"
)

// Set is a set of seeds.
type Set uint8

const (
	Tune   Set = iota // free to look at
	Check             // looked at as a total only
	Report            // run only to publish; its constant changes with each release
)

var setNames = [...]string{"tune", "check", "report"}

// String returns the set's name.
func (s Set) String() string {
	if int(s) < len(setNames) {
		return setNames[s]
	}
	return "unknown"
}

// ParseSet returns the set of a name.
func ParseSet(name string) (Set, error) {
	if i := slices.Index(setNames[:], name); i >= 0 {
		return Set(i), nil
	}
	return 0, fmt.Errorf("cannot draw from set %.40q: the sets are tune, check and report", name)
}

// constants keep the sets apart. The last one changes with each release, so that nobody can
// have tuned to the stations that a release reports.
var constants = [...]uint64{Tune: 0x7475_6e65, Check: 0x6368_6b31, Report: 0x7270_0200}

// seed returns the seed of the n-th case of a set: the finaliser of splitmix64 (public domain).
func (s Set) seed(n int) uint64 {
	x := constants[s] + uint64(n)*0x9e3779b97f4a7c15
	x = (x ^ x>>30) * 0xbf58476d1ce4e5b9
	x = (x ^ x>>27) * 0x94d049bb133111eb
	return x ^ x>>31
}

// Due is an alarm that must be raised.
type Due struct {
	Alarm    string  // its name in rules/catalogue
	From, By float64 // s after the start: when its fault sets in, by when it must have been raised
}

// Case is a station and what must come of it.
type Case struct {
	Set     Set
	N       int
	Kind    string   // of station, by which results are grouped; one of Kinds
	Spec    rig.Spec // to be run from Start
	Seconds int64
	Due     []Due
	Traps   []string // alarms that must not be raised, though something looks like their fault
	May     []string // alarms that are true as well: neither asked for nor false
}

// Kinds returns the kinds of station, in the order in which Draw takes turns.
func Kinds() []string {
	out := make([]string, len(kinds))
	for i := range kinds {
		out[i] = kinds[i].name
	}
	return out
}

// Start is when drawn stations start: their faults set in so long after it.
const Start = station.Instant(1767225600 * station.Second)

// Draw returns the n-th case of a set, n >= 0. Equal arguments return equal cases.
func Draw(set Set, n int) Case {
	k := &kinds[n%len(kinds)]
	seed := set.seed(n)
	d := drawer{Rand: rand.New(rand.NewPCG(seed, 0)), plan: usual(), seed: seed}
	k.plan(&d.plan)
	d.draw()
	if k.after != nil {
		k.after(&d)
	}
	d.Set, d.N, d.Kind, d.Spec.About = set, n, k.name, k.about
	d.Spec.Plate.Key = station.Key{Site: set.String(), Station: fmt.Sprint(n)}
	if n/len(kinds)%2 == 0 { // every other user knows how warm the hall is
		d.Spec.Plate.AirTemperature = d.Spec.Params.Ambient
	}
	for i := range d.Spec.Faults {
		if f := &d.Spec.Faults[i]; f.From > 0 {
			f.From = Start.Add(int64(f.From)).Floor(100 * station.Millisecond)
		}
	}
	return d.Case
}
