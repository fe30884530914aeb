package accuracy

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"strokewise/analyzer/station"
	"strokewise/collector/rig"
	"strokewise/collector/rig/draw"
	"strokewise/collector/rig/model"
)

// Stations returns the first n stations of a set, of one kind unless that is empty.
func Stations(set draw.Set, kind string, n int) ([]Case, error) {
	first, step := 0, 1
	if kind != "" {
		kinds := draw.Kinds()
		if first, step = slices.Index(kinds, kind), len(kinds); first < 0 {
			return nil, fmt.Errorf("there is no kind of station %.40q: the kinds are %s", kind, strings.Join(kinds, ", "))
		}
	}
	out := make([]Case, n)
	for i := range out {
		d := draw.Draw(set, first+i*step)
		out[i] = Case{Group: Drawn, Kind: d.Kind, Name: fmt.Sprint(d.N), Plate: d.Spec.Plate, Counter: d.Spec.Sensors.Counter,
			Play: func(yield func([]station.Block)) (Truth, error) { return playDrawn(&d, yield), nil }}
	}
	return out, nil
}

// firstCount is what the counters of drawn stations show at the start.
const firstCount = 100

// playDrawn runs a virtual station second by second and keeps its truth.
func playDrawn(d *draw.Case, yield func([]station.Block)) Truth {
	v := rig.New(d.Spec, start, firstCount)
	t := Truth{May: d.May, Traps: d.Traps}
	for _, x := range d.Due {
		t.Due = append(t.Due, Due(x))
	}
	gaps := d.Spec.Sensors.Gaps
	t.Lost = func(at float64) bool { return gaps.At(start, start.Add(int64(at*1e9))) }
	was := v.Truth()
	for s := range d.Seconds {
		yield(v.Until(start.Add((s + 1) * station.Second)))
		for _, k := range v.TakeStrokes() {
			t.Ends = append(t.Ends, since(k.At))
		}
		is := v.Truth()
		t.second(int(s), was, is)
		was = is
	}
	p := v.Present()
	if p.Second.On { // the totals are of both boosters, and the analyzer knows one
		for i := range t.Minutes {
			t.Minutes[i] = unknownAir
		}
	}
	t.Line, t.Leak = lineOf(&p), leakOf(&p, was.Relief)
	return t
}

// unknownAir is a minute whose air is not known.
var unknownAir = Minute{Air{math.NaN(), math.NaN(), math.NaN()}, Air{math.NaN(), math.NaN(), math.NaN()}}

// second adds a second of a virtual station's truth.
func (t *Truth) second(s int, was, is model.Totals) {
	if s%60 == 0 {
		t.Minutes = append(t.Minutes, Minute{})
	}
	m := &t.Minutes[len(t.Minutes)-1]
	delivered, inlet, exhaust := is.Delivered-was.Delivered, is.Inlet-was.Inlet, is.Exhaust-was.Exhaust
	m.All.add(delivered, inlet, exhaust)
	if t.Lost(float64(s)) {
		return
	}
	m.Seen.add(delivered, inlet, exhaust)
	t.Fed += is.Fed - was.Fed
	t.Stroking += is.Stroking - was.Stroking
	t.Holding += is.Holding - was.Holding
	t.Starved += is.Starved - was.Starved
}

// lineOf returns C/sqrt(1-b) of the supply line.
func lineOf(p *model.Params) float64 {
	return p.Supply.Line.C * p.Supply.Factor / math.Sqrt(1-p.Supply.Line.B)
}

// leakOf returns the conductance of the hole at the outlet, NaN where air is lost in other ways too.
func leakOf(p *model.Params, relief float64) float64 {
	if p.Leaks.Branch.C > 0 || p.Check.Back[0].C > 0 || p.Check.Back[1].C > 0 || relief > 0 {
		return math.NaN()
	}
	return p.Leaks.Tank.C
}
