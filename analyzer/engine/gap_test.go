package engine

import (
	"math"
	"testing"

	"strokewise/analyzer/station"
)

// silent returns a minute and a half of strokes, and the same again after a silence of so many seconds.
func silent(seconds int64, counter bool) []sample {
	rows := invented(90, counter)
	out := append([]sample(nil), rows...)
	for _, r := range rows {
		r.t = r.t.Add((90 + seconds) * station.Second)
		if r.c == station.Cycles {
			r.v += 1000
		}
		out = append(out, r)
	}
	return out
}

// A silence is one blind interval and one gap of whole minutes, however long it is: the number of conclusions does
// not depend on it, no minute lies in it, and the times add up to the span of the samples.
func TestASilenceIsOneInterval(t *testing.T) {
	const week = 7 * 24 * 3600
	for _, seconds := range []int64{600, 3 * week, 235 * 365 * 24 * 3600} { // the last is about what an instant can span
		for _, counter := range []bool{false, true} {
			rows := silent(seconds, counter)
			var r recorder
			e := New(testPlate(), &r)
			run(e, rows, 1)
			e.Flush()
			// minutes 0 and 1 have samples, and so have the two or three that the last 90 s touch
			if len(r.Minutes) < 4 || len(r.Minutes) > 5 || len(r.Gaps) != 1 {
				t.Fatalf("%d s: %d minutes, gaps %v", seconds, len(r.Minutes), r.Gaps)
			}
			g, back := r.Gaps[0], t0.Add((90+seconds)*station.Second)
			if want := (station.Gap{From: t0.Add(2 * station.Minute60), To: back.Floor(station.Minute60)}); g != want {
				t.Errorf("%d s: gap %v, want %v", seconds, g, want)
			}
			adds(t, &r, rows)
			blind := 0
			for _, v := range r.Intervals {
				if v.State == station.Blind && v.From <= g.From && v.To >= g.To {
					blind++
				}
			}
			if blind != 1 {
				t.Errorf("%d s: %d blind intervals span the gap", seconds, blind)
			}
		}
	}
}

// adds checks that minutes and gaps, and likewise intervals, partition the time from the first to the last sample.
func adds(t *testing.T, r *recorder, rows []sample) {
	t.Helper()
	span := rows[len(rows)-1].t.Sub(rows[0].t)
	var in, state int64
	for i := range r.Minutes {
		in += r.Minutes[i].Covered
		for _, ns := range r.Minutes[i].StateNs {
			state += ns
		}
		for _, g := range r.Gaps {
			if s := r.Minutes[i].Start; s >= g.From && s < g.To {
				t.Errorf("minute %v lies in the gap %v", s, g)
			}
		}
	}
	var gaps, told int64
	for _, g := range r.Gaps {
		gaps += g.Ns()
	}
	for i, v := range r.Intervals {
		told += v.To.Sub(v.From)
		if i > 0 && v.From != r.Intervals[i-1].To {
			t.Errorf("interval %d begins at %v, the one before ends at %v", i, v.From, r.Intervals[i-1].To)
		}
	}
	if in+gaps != span || state+gaps != span || told != span {
		t.Errorf("minutes cover %d and %d in states, gaps %d, intervals %d of %d ns", in, state, gaps, told, span)
	}
}

// Conclusions over a silence depend neither on how samples are cut into blocks nor on how Advance is cut.
func TestASilenceHoweverCut(t *testing.T) {
	rows := silent(3*7*24*3600, true)
	var first recorder
	e := New(testPlate(), &first)
	run(e, rows, 1)
	e.Flush()
	for seed := uint64(2); seed < 6; seed++ {
		var again recorder
		e := New(testPlate(), &again)
		run(e, rows, seed)
		e.Flush()
		same(t, "other blocks", &first, &again)
	}
	var stepped recorder
	e = New(testPlate(), &stepped)
	for len(rows) > 0 {
		n := min(len(rows), 1000)
		blocks := make(map[station.Channel]*station.Block)
		for _, r := range rows[:n] {
			b := blocks[r.c]
			if b == nil {
				b = &station.Block{Channel: r.c, Start: r.t}
				blocks[r.c] = b
			}
			b.Times, b.Values = append(b.Times, r.t), append(b.Values, r.v)
		}
		for c := range station.NumChannels {
			if b := blocks[c]; b != nil {
				e.Push(b, rows[n-1].t)
			}
		}
		for e.AdvanceSome(1) {
			if k := len(stepped.Minutes) + len(stepped.Gaps); k > 6 {
				t.Fatalf("%d minutes and gaps", k)
			}
		}
		rows = rows[n:]
	}
	e.Flush()
	same(t, "step by step", &first, &stepped)
}

// A part of Advance concludes no more than a minute and a few intervals a slot, whatever the pending samples span:
// here a sample every ten minutes for three weeks, pushed at once.
func TestAPartOfAdvanceIsBounded(t *testing.T) {
	p := testPlate()
	p.Cadence = station.OnChange
	var r recorder
	e := New(p, &r)
	b := station.Block{Channel: station.OutletPressure, Start: t0, Step: 600 * station.Second, Values: make([]float64, 3*7*144)}
	for i := range b.Values {
		b.Values[i] = 880e3 + float64(i%7)*1e3
	}
	e.Push(&b, b.At(len(b.Values)-1))
	const slots = 100
	parts, most := 1, 0
	for before := 0; e.AdvanceSome(slots); parts++ {
		now := len(r.Minutes) + len(r.Gaps) + len(r.Intervals)
		most, before = max(most, now-before), now
	}
	if most > 4*slots || parts < 30 {
		t.Errorf("%d parts, the largest with %d conclusions", parts, most)
	}
	if n := len(b.Values) - 1; len(r.Minutes) < n-1 || len(r.Minutes) > n+1 {
		t.Errorf("%d minutes of %d samples", len(r.Minutes), len(b.Values))
	}
	known := 0
	for i := range r.Minutes {
		if !math.IsNaN(float64(r.Minutes[i].OutletMean)) {
			known++
		}
	}
	if known != len(r.Minutes) {
		t.Errorf("%d of %d minutes have an outlet pressure, want all: each has a sample", known, len(r.Minutes))
	}
}

// A minute without a sample has unknown strokes and unknown air, also where a counter serves.
func TestAMinuteWithoutASampleIsUnknown(t *testing.T) {
	e := New(testPlate(), discard{})
	run(e, invented(90, true), 1)
	if !e.Fuse.CounterServes() {
		t.Fatal("the counter does not serve")
	}
	m := minute{}
	m.open(t0, 0)
	e.strokeMethod(&m)
	if m.M.StrokeMethod != station.MethodNone || m.M.AirReason == "" {
		t.Errorf("strokes by %v, air %q", m.M.StrokeMethod, m.M.AirReason)
	}
	m.Sampled = true
	m.M.AirReason = ""
	e.strokeMethod(&m)
	if m.M.StrokeMethod != station.MethodCounter || m.M.AirReason != "" {
		t.Errorf("with a sample: strokes by %v, air %q", m.M.StrokeMethod, m.M.AirReason)
	}
}

// BenchmarkSilence closes a silence of three weeks between two samples. It takes what one of a minute takes.
func BenchmarkSilence(b *testing.B) {
	for name, length := range map[string]int64{"a minute": 60, "three weeks": 21 * 86400} {
		b.Run(name, func(b *testing.B) {
			e := New(testPlate(), discard{})
			at := t0
			for b.Loop() {
				at = at.Add(length * station.Second)
				e.Push(&station.Block{Channel: station.OutletPressure, Start: at, Step: 1, Values: []float64{9e5}}, at)
				e.Advance()
			}
		})
	}
}
