package signal

import (
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
)

func ones(n int) []float64 {
	s := make([]float64, n)
	for i := range s {
		s[i] = 1
	}
	return s
}

// Annual flow of the Nile at Aswan, 1871 to 1970, 1e8 m³ (data of Debian's
// python3-statsmodels, S): the change after 1898, levels 1097.75 and 849.97
// (computed independently, references of the project).
func TestOnsetOfTheNile(t *testing.T) {
	flow := []float64{1120, 1160, 963, 1210, 1160, 1160, 813, 1230, 1370, 1140, 995, 935, 1110, 994, 1020, 960, 1180, 799, 958, 1140,
		1100, 1210, 1150, 1250, 1260, 1220, 1030, 1100, 774, 840, 874, 694, 940, 833, 701, 916, 692, 1020, 1050, 969,
		831, 726, 456, 824, 702, 1120, 1100, 832, 764, 821, 768, 845, 864, 862, 698, 845, 744, 796, 1040, 759,
		781, 865, 845, 944, 984, 897, 822, 1010, 771, 676, 649, 846, 812, 742, 801, 1040, 860, 874, 848, 890,
		744, 749, 838, 1050, 918, 986, 797, 923, 975, 815, 1020, 906, 901, 1170, 912, 746, 919, 718, 714, 740}
	var years []float64
	for i := range flow {
		years = append(years, 1871+float64(i))
	}
	o, ok := FindOnset(years, flow, ones(len(flow)))
	if !ok || o.Ramp || years[o.Index] != 1899 || o.Low != 1898 {
		t.Fatalf("got %+v, %v", o, ok)
	}
	near(t, "level before", o.Before, 1097.75, 1e-4)
	near(t, "level after", o.After, 849.97, 1e-4)
}

// Without a change hardly any series shows one: 32 values of white noise whose standard
// errors are told rightly.
func TestOnsetOfNothing(t *testing.T) {
	found := 0
	for seed := range uint64(2000) {
		r := rand.New(rand.NewPCG(seed, 3))
		var ts, ys []float64
		for i := range 32 {
			ts, ys = append(ts, float64(i)), append(ys, 10+r.NormFloat64())
		}
		if _, ok := FindOnset(ts, ys, ones(32)); ok {
			found++
		}
	}
	t.Logf("%d of 2000 series without a change show one", found)
	if found > 8 {
		t.Errorf("%d of 2000 series without a change show one", found)
	}
}

func TestOnsetOfStepsAndRamps(t *testing.T) {
	held, ramps := 0, 0
	for seed := range uint64(200) {
		r := rand.New(rand.NewPCG(seed, 5))
		k, ramp := 8+r.IntN(14), seed%2 == 0
		var ts, ys []float64
		for i := range 32 {
			y := r.NormFloat64()
			switch {
			case ramp && i > k:
				y += 1.5 * float64(i-k)
			case !ramp && i >= k:
				y += 8
			}
			ts, ys = append(ts, float64(i)), append(ys, y)
		}
		o, ok := FindOnset(ts, ys, ones(32))
		if !ok {
			t.Errorf("seed %d: not found", seed)
			continue
		}
		truth := float64(k)
		if o.Low-1 <= truth && truth <= o.High+1 {
			held++
		}
		if math.Abs(o.At-truth) > 4 {
			t.Errorf("seed %d: onset at %g, truth %g", seed, o.At, truth)
		}
		if o.Ramp == ramp {
			ramps++
		}
	}
	t.Logf("the band held the truth %d times, the kind was right %d times in 200", held, ramps)
	if held < 170 || ramps < 180 {
		t.Errorf("the band held the truth %d times, the kind was right %d times in 200", held, ramps)
	}
}

// The oscillator that gets a leak at its exit port, and the one that loses its supply
// (testdata/open), up to before they recover: lowest pressure of each two
// seconds. By an independent script of the standard library of Python: the first sample
// below 0.9 of the lowest of the seconds 1 to 7 stands at 8.58 s and at 39.73 s.
func TestOnsetInSelfCyclingPneumatic(t *testing.T) {
	for name, c := range map[string]struct{ end, at float64 }{"exit_port_leak": {25, 8.58}, "source_disconnect": {60, 39.73}} {
		t.Run(name, func(t *testing.T) {
			text := lines(t, "testdata", "open", "self-cycling-pneumatic", name+".csv.gz")
			rate := number(t, strings.TrimPrefix(text[0], "#samplerate,"))
			head := strings.Split(text[1], ",")
			for i := range head {
				head[i] = strings.TrimSpace(head[i])
			}
			col := slices.Index(head, "pressure")
			const block = 2.0
			var ts, low []float64
			for from := 0.0; from+block <= c.end; from += block {
				least := math.Inf(1)
				for _, l := range text[2+int(from*rate) : 2+int((from+block)*rate)] {
					least = math.Min(least, number(t, strings.Split(l, ",")[col]))
				}
				ts, low = append(ts, from+block/2), append(low, least)
			}
			o, ok := FindOnset(ts, low, ones(len(ts)))
			t.Logf("onset %.1f s (%.1f to %.1f), rule of thumb %.2f s, score %.1f", o.At, o.Low, o.High, c.at, o.Score)
			if !ok || math.Abs(o.At-c.at) > block {
				t.Errorf("onset %+v, want within %g s of %g", o, block, c.at)
			}
		})
	}
}
