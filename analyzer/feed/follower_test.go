package feed

import "testing"

// blocks cuts a scene into half-second slots.
func blocks(s *scene, seconds float64) (in, out []Series) {
	i, o := s.series(seconds, 1)
	for t := 0.5; t <= seconds; t += 0.5 {
		var a, b Series
		a, i = i.until(at(t))
		b, o = o.until(at(t))
		in, out = append(in, a), append(out, b)
	}
	return in, out
}

// working is a station that strokes half of the time, at 100 Hz.
func working(seconds float64) *scene {
	r := &strokes{sag: 8e3, lift: 4e3, fall: 4e3}
	for t := 5.0; t < seconds; t += 10 {
		r.runs = append(r.runs, span{t, t + 4.9})
	}
	return &scene{rate: 100, noise: 300, header: level(600e3), sag: r.draws, outlet: r.outlet, usual: strokeTime}
}

func TestSamplesAllocateNothing(t *testing.T) {
	s := working(60)
	in, out := blocks(s, 60)
	var f Follower
	c, k, breaks, was := s.context(0), 0, 0, f.BreakAt
	if n := testing.AllocsPerRun(len(in)-1, func() {
		start := at(float64(k) / 2)
		f.Samples(start, start.Add(5*FrameLen), in[k], out[k], &c)
		if f.BreakAt != was {
			breaks, was = breaks+1, f.BreakAt
		}
		k++
	}); n > 0 {
		t.Errorf("%g allocations a slot", n)
	}
	if breaks < 5 {
		t.Errorf("the piston began to work %d times: too little was exercised", breaks)
	}
}

// BenchmarkSamples measures what a sample of either channel costs at 100 Hz.
func BenchmarkSamples(b *testing.B) {
	s := working(60)
	in, out := blocks(s, 60)
	var f Follower
	c, start := s.context(0), t0
	b.ReportAllocs()
	for b.Loop() {
		for k := range in {
			f.Samples(start, start.Add(5*FrameLen), in[k], out[k], &c)
			for i := range in[k].T { // played again a minute later
				in[k].T[i] += 60e9
				out[k].T[i] += 60e9
			}
			start = start.Add(5 * FrameLen)
		}
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N*60*200), "ns/sample")
}
