package pipeline_test

import (
	"math"
	"testing"

	"strokewise/analyzer/station"
	"strokewise/cmd/internal/pipeline"
	"strokewise/collector/rig"
	"strokewise/deploy/peers"
)

// strokeProgram counts the dips of the inlet by SciPy's find_peaks (2 kPa deep, 0.2 s apart)
// and finds the strongest line of its spectrum by Welch's method, 0.006 Hz a bin.
const strokeProgram = `
from scipy.signal import find_peaks, welch
answer = []
for values in given:
    x = -np.array(values)
    f, p = welch(x, fs=100, nperseg=16384, detrend="linear")
    p[f < 0.3] = 0
    answer.append(dict(Peaks=len(find_peaks(x, prominence=2000, distance=20)[0]), Line=float(f[np.argmax(p)])))
`

// On stations that stroke all the time the analyzer counts from the traces alone what SciPy's
// peaks count and what the rig did, and its rate is the strongest line of the spectrum. The
// first five minutes are for learning.
func TestStrokesAgreeWithScipy(t *testing.T) {
	const start, seconds = station.Instant(1767225600e9), 300
	specs, err := rig.Plant(start)
	if err != nil {
		t.Fatal(err)
	}
	type run struct {
		name         string
		truth, count int
		rate         float64 // 1/s, last minute
	}
	var runs []run
	var inlets [][]float64
	for _, c := range []struct {
		name string
		flow float64 // m³/s ANR
	}{{"press-4", 3e-3}, {"press-4", 4e-3}, {"press-9", 2e-3}, {"press-9", 3e-3}, {"press-9", 4e-3}} {
		spec, err := rig.Find(specs, c.name)
		if err != nil {
			t.Fatal(err)
		}
		spec.Sensors = rig.Sensors{Rate: 100, Noise: 100, Step: 10, Inlet: true, Outlet: true}
		spec.Rhythm = rig.Rhythm{Base: c.flow}
		v, u := rig.New(spec, start, 0), pipeline.New(spec.Plate, "1")
		u.KeepStrokes = true
		var in []float64
		before := 0
		for at := start.Add(10 * station.Second); at <= start.Add(2*seconds*station.Second); at = at.Add(10 * station.Second) {
			blocks := v.Until(at)
			for _, b := range blocks {
				if b.Channel == station.InletPressure {
					in = append(in, b.Values...)
				}
			}
			u.Samples(blocks, at)
			if at == start.Add(seconds*station.Second) {
				before = v.Truth().Strokes
			}
		}
		u.Flush()
		r := run{name: c.name, truth: v.Truth().Strokes - before, rate: u.Status.StrokeRate.Value}
		for _, s := range u.Out.Strokes {
			if s.At >= start.Add(seconds*station.Second) {
				r.count++
			}
		}
		runs, inlets = append(runs, r), append(inlets, in[len(in)-seconds*100:])
	}
	var got []struct {
		Peaks int
		Line  float64
	}
	peers.Scipy(t, strokeProgram, inlets, &got)
	for i, r := range runs {
		p := got[i]
		t.Logf("%s: truth %d, analyzer %d, SciPy's peaks %d; rate %.3f, line %.3f Hz", r.name, r.truth, r.count, p.Peaks, float64(r.count)/seconds, p.Line)
		if apart(r.count, r.truth) > 2 || apart(p.Peaks, r.truth) > 2 {
			t.Errorf("%s: truth %d, analyzer %d, SciPy's peaks %d", r.name, r.truth, r.count, p.Peaks)
		}
		if mean := float64(r.count) / seconds; math.Abs(mean-p.Line) > 0.0125 || math.Abs(r.rate-p.Line) > 1.0/60+0.0125 {
			t.Errorf("%s: %.4f strokes a second, %.4f in the last minute, the line is at %.4f Hz", r.name, mean, r.rate, p.Line)
		}
	}
}

func apart(a, b int) int { return max(a-b, b-a) }
