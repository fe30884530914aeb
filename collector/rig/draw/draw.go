// Package draw draws random virtual stations, within ranges that are written down with their
// reasons in one file.
package draw

import (
	"fmt"
	"slices"

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
	Kind    string // of station, by which results are grouped; one of Kinds
	Spec    rig.Spec
	Seconds int64
	Due     []Due
	Traps   []string // alarms that must not be raised, though something looks like their fault
}

// kind is a kind of station.
type kind struct {
	name string
	draw func(seed uint64) Case
}

var kinds = []kind{
	{"plain", func(seed uint64) Case { return Case{Spec: Steady(seed-seed%3+1, 50), Seconds: 900} }},
	{"leak", leaking},
	{"hard", func(seed uint64) Case { return Case{Spec: Hard(seed), Seconds: 900} }},
}

// leaking draws a station that only makes up a leak. Three minutes of that show it, the alarm's
// delay is one, and one more is grace.
func leaking(seed uint64) Case {
	return Case{Spec: Steady(seed-seed%3, 50), Seconds: 900, Due: []Due{{"outlet-leak", 0, 300}}}
}

// Kinds returns the kinds of station, in the order in which Draw takes turns.
func Kinds() []string {
	out := make([]string, len(kinds))
	for i := range kinds {
		out[i] = kinds[i].name
	}
	return out
}

// Draw returns the n-th case of a set, n >= 0. Equal arguments give equal cases.
func Draw(set Set, n int) Case {
	k := &kinds[n%len(kinds)]
	c := k.draw(set.seed(n))
	c.Set, c.N, c.Kind = set, n, k.name
	c.Spec.Plate.Key.Site, c.Spec.Plate.Key.Station = set.String(), fmt.Sprint(n)
	return c
}
