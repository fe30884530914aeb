package accuracy

import (
	"math/rand/v2"
	"sync"
	"sync/atomic"

	"strokewise/analyzer/station"
	"strokewise/cmd/internal/pipeline"
	"strokewise/collector/rig"
	"strokewise/collector/rig/draw"
)

// anHour is how long each mistake is watched, s.
const anHour = 3600

// Judged is what came of a mistake on a station.
type Judged struct {
	Mistake string // "": none, a sound station
	Kind    string // of station
	Case    int
	Named   float64 // s from when it set in until it was named rightly, 0: never
	Alone   bool    // and nothing else with it
	Wrong   float64 // s until something else was named, without it, 0: never
	Vague   bool    // something was found that names nothing
	Said    string  // what was said last
}

// sound reports whether a kind of station has nothing that is a fault or that the plate does not know.
func sound(kind string) bool {
	switch kind {
	case "leak", "undersized", "relief-pops", "header-low", "shutdown", "bad-counter", "parallel", "fixed-ratio":
		return false
	}
	return true
}

// Mistaken plays the mistakes on stations of a set, n sound stations each, from the first on, for an hour of work each.
// rounds is how many mistakes of the table each station has: all of them, or fewer in turn.
func Mistaken(set draw.Set, n, rounds, workers int, progress func(done int)) []Judged {
	var cases []int
	for i := 0; len(cases) < n; i++ {
		if sound(draw.Kinds()[i%len(draw.Kinds())]) {
			cases = append(cases, i)
		}
	}
	out := make([][]Judged, len(cases))
	var next, done atomic.Int64
	var group sync.WaitGroup
	for range min(workers, len(cases)) {
		group.Go(func() {
			for i := int(next.Add(1)) - 1; i < len(cases); i = int(next.Add(1)) - 1 {
				out[i] = mistakesOf(set, cases[i], i, rounds)
				if d := done.Add(1); progress != nil {
					progress(int(d))
				}
			}
		})
	}
	group.Wait()
	var all []Judged
	for _, j := range out {
		all = append(all, j...)
	}
	return all
}

// mistakesOf plays a station without a mistake and with some.
func mistakesOf(set draw.Set, n, turn, rounds int) []Judged {
	c := morning(set, n, turn)
	hour := record(&c)
	out := []Judged{judge(&c, hour, nil)}
	var others []station.Block // with the other kind of counter
	rounds = min(rounds, len(mistakes))
	for k := range rounds {
		m := &mistakes[(turn%len(mistakes)*rounds+k)%len(mistakes)]
		d := morning(set, n, turn)
		in := &injection{Rand: rand.New(rand.NewPCG(uint64(n), uint64(k))), c: &d, plate: d.Spec.Plate}
		m.draws(in)
		blocks := hour
		if d.Spec.Plate.Counts != c.Spec.Plate.Counts {
			if others == nil {
				others = record(&d)
			}
			blocks = others
		}
		j := judge(&d, blocks, in)
		j.Mistake = m.name
		out = append(out, j)
	}
	return out
}

// ventedUntil is when the supply of every other station is opened, s from the start: it was shut down and vented over night.
const ventedUntil = 150

// morning draws a station; every other one begins vented.
func morning(set draw.Set, n, turn int) draw.Case {
	c := draw.Draw(set, n)
	if turn%2 == 1 {
		c.Spec.Outlet = 0
		c.Spec.Faults = append(c.Spec.Faults, rig.Fault{Kind: rig.Vented, Until: start.Add(ventedUntil * station.Second)})
	}
	return c
}

// record runs a station for an hour and keeps its samples.
func record(c *draw.Case) []station.Block {
	v := rig.New(c.Spec, start, firstCount)
	var out []station.Block
	for s := range int64(anHour) {
		for _, b := range v.Until(start.Add((s + 1) * station.Second)) {
			b.Values, b.Times = append([]float64(nil), b.Values...), append([]station.Instant(nil), b.Times...)
			out = append(out, b)
		}
	}
	return out
}

// judge plays an hour through the analyzer with a mistake, nil: none, and watches what is told.
func judge(c *draw.Case, hour []station.Block, in *injection) Judged {
	j := Judged{Kind: c.Kind, Case: c.N}
	plate := c.Spec.Plate
	if in != nil {
		plate = in.plate
	}
	u := pipeline.New(plate, "accuracy")
	var kept []station.Block
	for i := 0; i < len(hour); {
		kept = kept[:0]
		second := hour[i].At(0).Floor(station.Second)
		newest := station.Instant(0)
		for ; i < len(hour) && hour[i].At(0).Floor(station.Second) == second; i++ {
			b := in.put(&hour[i])
			newest = max(newest, b.At(b.Len()-1))
			kept = append(kept, b)
		}
		u.Samples(kept, newest)
		j.look(u.Status, in)
	}
	return j
}

// put returns a block as it comes with the mistake.
func (in *injection) put(b *station.Block) station.Block {
	out := *b
	if in == nil || b.Channel != station.InletPressure && b.Channel != station.OutletPressure {
		return out
	}
	channel := 0
	if b.Channel == station.OutletPressure {
		channel = 1
	}
	if read := in.reads[channel]; read != nil {
		out.Values = make([]float64, b.Len())
		for i, v := range b.Values {
			out.Values[i] = read(since(b.At(i)), v)
		}
	}
	if in.swapped {
		out.Channel = [...]station.Channel{station.OutletPressure, station.InletPressure}[channel]
	}
	return out
}

// look notes what is told at a step.
func (j *Judged) look(s *station.Status, in *injection) {
	doubted := s.State == station.Blind && s.StateReason.Doubt() >= station.DoubtFrozen
	if s.Contradiction.N == 0 && !doubted {
		return
	}
	at := since(s.At)
	right, alone := false, false
	if in != nil {
		right = doubted && in.doubt != nil && in.doubt(s.StateReason)
		alone = right
		if s.Contradiction.N > 0 && in.named(&s.Contradiction) {
			alone = alone || s.Contradiction.N == 1
			right = true
		}
	}
	vague := doubted && s.Contradiction.N == 0 && names(s.StateReason) == 0
	switch {
	case right:
		if j.Alone = j.Alone || alone; j.Named == 0 {
			j.Named = max(1, at)
		}
	case vague:
		j.Vague = true
	case j.Wrong == 0:
		j.Wrong = max(1, at)
	}
	if j.Said = s.Contradiction.In(station.ReadKPa); doubted {
		j.Said += " | " + s.StateReason.String()
	}
}

// names returns how many things a doubt names as its cause: none where it says only that something is wrong.
func names(r station.StateReason) int {
	switch r.Is {
	case station.OutletBelowInlet, station.OutletBeyondReach, station.InletFlatCounted, station.InletFlatPumped, station.OutletFlatCounted, station.BothFlatCounted:
		return 0
	}
	return 1
}
