package model

// trace is what stations and recordings are compared by: pressures at 100 Hz (kPa gauge)
// and the ends of strokes (s from the first sample).
type trace struct{ p1, p2, strokes []float64 }

const perSecond = 100

// record runs a station for seconds and samples it.
func record(s *Station, seconds float64) trace {
	var out trace
	ended := s.TakeStrokes(nil) // those of before do not count
	t0 := s.State.Time
	for i := range int(seconds * perSecond) {
		s.Advance(t0 + float64(i)/perSecond)
		out.p1, out.p2 = append(out.p1, s.Inlet()/1e3), append(out.p2, s.Outlet()/1e3)
		ended = s.TakeStrokes(ended[:0])
		for _, e := range ended {
			out.strokes = append(out.strokes, e.At-t0)
		}
	}
	return out
}

// bins is how many equal parts of a stroke its shape has.
const bins = 20

// shape is the mean stroke of those that took less than below (s), and more than above,
// with a mean outlet pressure under p2max: the inlet, and the outlet less the straight line
// from the stroke's start to its end. Averaging over strokes removes noise.
type shape struct {
	n        int
	interval float64 // s, mean
	inlet    [bins]float64
	outlet   [bins]float64
}

func (tr trace) shape(above, below, p2max float64) shape {
	var sh shape
	for i := 1; i < len(tr.strokes); i++ {
		from, d := tr.strokes[i-1], tr.strokes[i]-tr.strokes[i-1]
		last := int((from+d)*perSecond) + 2
		if d < above || d > below || last >= len(tr.p2) {
			continue
		}
		var p1, p2 [bins]float64
		mean := 0.0
		for k := range bins {
			at := from + d*(float64(k)+0.5)/bins
			p1[k], p2[k] = between(tr.p1, at), between(tr.p2, at)
			mean += p2[k] / bins
		}
		if mean > p2max {
			continue
		}
		start, end := between(tr.p2, from), between(tr.p2, from+d)
		sh.n++
		sh.interval += d
		for k := range bins {
			sh.inlet[k] += p1[k]
			sh.outlet[k] += p2[k] - start - (end-start)*(float64(k)+0.5)/bins
		}
	}
	n := float64(max(sh.n, 1))
	sh.interval /= n
	for k := range bins {
		sh.inlet[k] /= n
		sh.outlet[k] /= n
	}
	return sh
}

// between returns a value at t s between two samples.
func between(x []float64, t float64) float64 {
	i := int(t * perSecond)
	f := t*perSecond - float64(i)
	return x[i]*(1-f) + x[i+1]*f
}

// span returns the height from the lowest to the highest.
func span(x [bins]float64) float64 {
	lo, hi := x[0], x[0]
	for _, v := range x {
		lo, hi = min(lo, v), max(hi, v)
	}
	return hi - lo
}

func mean(x []float64) float64 {
	sum := 0.0
	for _, v := range x {
		sum += v
	}
	return sum / float64(len(x))
}

// cut returns the part from from to to (s).
func (tr trace) cut(from, to float64) trace {
	a, b := int(from*perSecond), min(int(to*perSecond), len(tr.p1))
	out := trace{p1: tr.p1[a:b], p2: tr.p2[a:b]}
	for _, at := range tr.strokes {
		if at >= from && at < to {
			out.strokes = append(out.strokes, at-from)
		}
	}
	return out
}
