package motion

import (
	"math"
	"math/rand/v2"
	"testing"

	"strokewise/analyzer/station"
)

func none(int) (float64, float64) { return 0, 0 }

// Where the sides differ by a fifth, half the time of a cycle is off by 0.06 s. The traces show the end.
func TestUnequalSides(t *testing.T) {
	for _, rate := range []float64{10, 25, 100} {
		s := runs(scene{rate: rate, noise: 300, turn: 0.05, sag: 8e3, lift: 6e3}, 120, 0.6, 0.55, none)
		var d Dater
		if right := s.right(s.play(&d, 1), 20); right < 0.9 {
			t.Errorf("%g Hz: %.0f %% of strokes dated right, half of the cycle's time is for none", rate, 100*right)
		}
	}
}

// Where the traces show nothing but noise, the middle of the cycle is all there is. A date anywhere in it
// would be right for 13 % of strokes.
func TestNoiseAlone(t *testing.T) {
	s := runs(scene{rate: 50, noise: 2e3, lift: 1e-6}, 300, 0.5, 0.5, none)
	var d Dater
	right := s.right(s.play(&d, 2), 20)
	t.Logf("%.0f %% right", 100*right)
	if right < 0.5 {
		t.Errorf("%.0f %% of strokes dated right", 100*right)
	}
}

// The piston stands for seconds behind one stroke or the other of a cycle: neither half the time nor half
// the time of work says behind which. Half of the draw lies at the whole rest, the end itself at its begin.
func TestRestWithinACycle(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 7))
	s := runs(scene{rate: 50, noise: 300, turn: 0.05, sag: 8e3, lift: 6e3}, 150, 0.5, 0.5, func(int) (float64, float64) {
		if rng.IntN(2) == 0 {
			return 2 + 3*rng.Float64(), 0
		}
		return 0, 2 + 3*rng.Float64()
	})
	var d Dater
	dates := s.play(&d, 3)
	wrong := 0
	for i, x := range dates[20:] {
		if math.Abs(x-s.ends[2*(i+20)+2]) > 0.25 {
			wrong++
		}
	}
	t.Logf("%.0f %% right", 100*s.right(dates, 20))
	if wrong > len(dates)/20 {
		t.Errorf("%d of %d strokes are dated on the wrong side of the rest", wrong, len(dates)-20)
	}
}

// However the samples of a slot are cut in time, the frames are the same to the last bit.
func TestCut(t *testing.T) {
	s := runs(scene{rate: 100, noise: 300, turn: 0.05, sag: 8e3, lift: 6e3}, 10, 0.5, 0.5, none)
	all := func(part float64) *Dater {
		d, hint, n := &Dater{}, -1, 0
		rng := rand.New(rand.NewPCG(4, 1))
		for to := part; to < 11; to += part {
			var in, out Series
			for ; float64(n)/s.rate < to; n++ {
				x := float64(n) / s.rate
				p1, p2 := s.pressures(x, &hint)
				in.T, in.V = append(in.T, at(x)), append(in.V, p1+rng.NormFloat64())
				if n%3 != 0 { // the outlet is sampled less often
					out.T, out.V = append(out.T, at(x)), append(out.V, p2)
				}
			}
			d.Samples(in, out, &Context{Step: 0.01, Header: header, Works: true, Usual: 0.5})
		}
		return d
	}
	whole := all(10.5)
	for _, part := range []float64{0.5, 0.75, 3.5} {
		if d := all(part); *d != *whole {
			t.Errorf("parts of %g s make another dater than the whole", part)
		}
	}
}

// Behind a gap nothing is dated until the next counted end, and no frame's step reaches over it.
func TestGap(t *testing.T) {
	s := runs(scene{rate: 50, noise: 300, turn: 0.05, sag: 8e3, lift: 6e3}, 40, 0.5, 0.5, none)
	var d Dater
	s.play(&d, 5)
	was := d.Shapes
	d.Reset()
	if at := d.Half(d.at(d.N-1).At, 0.5); at != 0 {
		t.Errorf("dated %v across a gap", at)
	}
	later := at(1000)
	d.Samples(Series{[]station.Instant{later}, []float64{header}}, Series{[]station.Instant{later}, []float64{set}}, &Context{Step: 0.02, Header: header, Works: true})
	if f, before := d.at(d.N-1), d.at(d.N-2); f.Drew != before.Drew || f.Worked != before.Worked || d.From != d.N-1 {
		t.Errorf("the gap is work: %+v behind %+v", f, before)
	}
	if d.Shapes != was {
		t.Error("what ends look like is forgotten")
	}
}

// A count that is read late by more than a window is wide shows no end.
func TestLateReadings(t *testing.T) {
	s := runs(scene{rate: 50, noise: 300, turn: 0.05, sag: 8e3, lift: 6e3}, 20, 0.5, 0.5, none)
	var d Dater
	s.play(&d, 6)
	n := d.Shapes[0].End.N
	for i := 10; i < 20; i++ {
		d.End(d.at(d.N-30).At, 1)
	}
	if d.Shapes[0].End.N != n || n == 0 {
		t.Errorf("%g ends learned, %g before", d.Shapes[0].End.N, n)
	}
}

func TestSamplesAllocateNothing(t *testing.T) {
	s := runs(scene{rate: 100, noise: 300, turn: 0.05, sag: 8e3, lift: 6e3}, 40, 0.5, 0.5, none)
	var d Dater
	s.play(&d, 8)
	in, out := slot(s)
	c := Context{Step: 0.01, Header: header, Works: true, Usual: 0.5}
	k := 0
	if n := testing.AllocsPerRun(100, func() {
		d.Samples(in, out, &c)
		for i := range in.T {
			in.T[i], out.T[i] = in.T[i].Add(station.Second), out.T[i].Add(station.Second)
		}
		d.Half(in.T[0].Add(-station.Second), 0.5)
		d.End(in.T[0].Add(-station.Second), 0.01)
		k++
	}); n > 0 {
		t.Errorf("%g allocations a second", n)
	}
}

// slot returns a second of samples behind the scene.
func slot(s *scene) (in, out Series) {
	hint, last := -1, math.Ceil(s.ends[len(s.ends)-1]+1)
	for i := range int(s.rate) {
		x := last + float64(i)/s.rate
		p1, p2 := s.pressures(5+float64(i)/s.rate, &hint)
		in.T, in.V = append(in.T, at(x)), append(in.V, p1)
		out.T, out.V = append(out.T, at(x)), append(out.V, p2)
	}
	return in, out
}

// BenchmarkSamples measures what a sample of either channel costs at 100 Hz, with a cycle a second.
func BenchmarkSamples(b *testing.B) {
	s := runs(scene{rate: 100, noise: 300, turn: 0.05, sag: 8e3, lift: 6e3}, 40, 0.5, 0.5, none)
	var d Dater
	s.play(&d, 8)
	in, out := slot(s)
	c := Context{Step: 0.01, Header: header, Works: true, Usual: 0.5}
	b.ReportAllocs()
	for b.Loop() {
		d.Samples(in, out, &c)
		d.Half(in.T[99], 0.5)
		d.End(in.T[99], 0.01)
		for i := range in.T {
			in.T[i], out.T[i] = in.T[i].Add(station.Second), out.T[i].Add(station.Second)
		}
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N*200), "ns/sample")
}
