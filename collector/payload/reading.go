package payload

import (
	"math"
	"sort"
	"strings"

	"strokewise/analyzer/station"
)

// Reading is one value of a message that holds many: of several channels, or of several stations.
type Reading struct {
	Name          string // what the payload calls it
	Site, Station string // "": not named by the payload
	Channel       station.Channel
	At            station.Instant
	Stamp         station.Stamp
	Value         float64  // SI
	Bare          bool     // the number came without a unit, and nothing scales it
	Why           *Refusal // why this reading is lost; nil: it is sound
}

// Place is what a name in a payload stands for.
type Place struct {
	Site, Station string // "": not said
	Channel       station.Channel
	Scale         *Scale // nil: none
}

// Names finds what the names in a payload stand for.
type Names interface {
	// Find reports false for a name that is of no concern here.
	Find(name string) (Place, bool)
}

// Find returns what a name stands for: by the mapping; else by its last part (behind a slash, colon or
// dot), if that is a channel; else the topic's channel.
func (c *Context) Find(name string) (Place, bool) {
	if c.Names != nil {
		if p, ok := c.Names.Find(name); ok {
			return p, true
		}
	}
	if ch, ok := station.ParseChannel(name[strings.LastIndexAny(name, "/:.")+1:]); ok {
		return Place{Channel: ch, Scale: c.scale(ch)}, true
	}
	return Place{Channel: c.Channel, Scale: c.scale(c.Channel)}, c.HasChannel
}

// Reading returns a number that the payload gives under a name, in SI; false where the name is of no
// concern here.
func (c *Context) Reading(name string, v float64, unit string) (Reading, bool) {
	p, ok := c.Find(name)
	if !ok {
		return Reading{}, false
	}
	return c.At(p, name, v, unit), true
}

// At returns a number that stands for a place, in SI.
func (c *Context) At(p Place, name string, v float64, unit string) Reading {
	r := Reading{Name: name, Site: p.Site, Station: p.Station, Channel: p.Channel}
	if p.Scale != nil {
		r.Value, r.Why = p.Scale.si(p.Channel, v, unit, c.pressureUnit())
	} else {
		r.Bare = unit == ""
		r.Value, r.Why = inUnit(p.Channel, v, unit, c.pressureUnit())
	}
	if r.Why == nil && !finite(r.Value) {
		r.Why = refuse(NotFinite, "%s is not finite, or beyond 1e15", p.Channel)
	}
	return r
}

// Gather appends the blocks of one station's readings to dst: one a channel, in order of time; of two
// values with one time the first stays. It reorders the list, which holds sound readings only.
func Gather(list []Reading, dst []station.Block) []station.Block {
	sort.SliceStable(list, func(i, j int) bool {
		a, b := &list[i], &list[j]
		return a.Channel < b.Channel || a.Channel == b.Channel && a.At < b.At
	})
	for from := 0; from < len(list); {
		to := from
		for to < len(list) && list[to].Channel == list[from].Channel {
			to++
		}
		dst = append(dst, blockOf(list[from:to]))
		from = to
	}
	return dst
}

// blockOf returns the block of one channel's readings, which are in order of time. Its stamp is the
// weakest of theirs.
func blockOf(list []Reading) station.Block {
	b := station.Block{Channel: list[0].Channel, Start: list[0].At, Stamp: station.StampDevice}
	for i := range list {
		r := &list[i]
		if r.Stamp == station.StampArrival {
			b.Stamp = station.StampArrival
		}
		if n := len(b.Times); n > 0 && b.Times[n-1] == r.At {
			continue
		}
		b.Times, b.Values = append(b.Times, r.At), append(b.Values, r.Value)
	}
	regular(&b)
	return b
}

// regular drops the times of a block whose values are evenly spaced.
func regular(b *station.Block) {
	n := len(b.Times)
	if n == 1 {
		b.Times = nil
		return
	}
	step := b.Times[1].Sub(b.Times[0])
	for i := 2; i < n; i++ {
		if b.Times[i].Sub(b.Times[i-1]) != step {
			return
		}
	}
	b.Step, b.Times = step, nil
}

// finite reports whether a value is a number within bounds.
func finite(v float64) bool { return !math.IsNaN(v) && math.Abs(v) <= maxValue }
