package stroke

import (
	"bufio"
	"compress/gzip"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

// columns reads an open recording, without its first lines, by columns.
func columns(t *testing.T, path, separator string, without int) [][]float64 {
	t.Helper()
	f, err := os.Open(filepath.Join("..", "signal", "testdata", "open", path+".csv.gz"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	z, err := gzip.NewReader(f)
	if err != nil {
		t.Fatal(err)
	}
	var out [][]float64
	s := bufio.NewScanner(z)
	for n := 0; s.Scan(); n++ {
		if n < without || strings.TrimSpace(s.Text()) == "" {
			continue
		}
		for i, cell := range strings.Split(s.Text(), separator) {
			v, err := strconv.ParseFloat(strings.TrimSpace(cell), 64)
			if err != nil && strings.TrimSpace(cell) != "" {
				t.Fatal(err)
			}
			if i == len(out) {
				out = append(out, nil)
			}
			out[i] = append(out[i], v)
		}
	}
	if err := s.Err(); err != nil {
		t.Fatal(err)
	}
	return out
}

// periodOf returns the period at which a signal repeats itself, by a comb whose draw is the time.
func periodOf(ts, x []float64, step float64) float64 {
	var c Comb
	c.Restart(ts[0], step)
	for i, t := range ts {
		c.Put(t+step/2, x[i], 0)
	}
	c.Judge(0)
	return c.Period
}

// A small double-acting piston driven to and fro ten times at 100 Hz (open data): the comb finds
// its period, s, in the position (mm), the pressure (bar) and the force (N) within 2 %. The periods
// are the mean times between rises by an independent script, a 30/70 % hysteresis over the 1 to 99 %
// range; single ones differ from them by up to 5 %.
func TestCombOfADoubleActingPiston(t *testing.T) {
	for name, want := range map[string]float64{"Circle_5bar": 10.67, "KDN_3bar": 8.01, "Stadium_1bar": 6.05} {
		c := columns(t, "double-acting-actuator/"+name, "\t", 0)
		ts := c[0]
		for i := range ts {
			ts[i] /= 1e3
		}
		for at, what := range map[int]string{4: "position", 5: "pressure", 6: "force"} {
			got := periodOf(ts, c[at], 0.01)
			t.Logf("%s, %s: %.2f s, by the script %.2f s", name, what, got, want)
			if math.Abs(got/want-1) > 0.02 {
				t.Errorf("%s, %s: %.3f s, want %.2f s within 2 %%", name, what, got, want)
			}
		}
	}
}

// An air-driven oscillator that its own pressure switches (open data): the comb finds its period,
// s, within 2 %, before the rhythm changes. The periods are the medians by the same script over the
// same times. Where a leak leaves only four of them at a time, it finds none.
func TestCombOfASelfCyclingOscillator(t *testing.T) {
	for name, c := range map[string]struct{ rate, seconds, period float64 }{
		"first_test":        {133, 60, 1.624},
		"low_rate":          {100, 30, 3.440},
		"source_disconnect": {133, 40, 1.842},
		"exit_port_leak":    {133, 36, 0}, // four of 1.86 s, 20 s without, and four of 1.84 s: too few to tell
	} {
		x := columns(t, "self-cycling-pneumatic/"+name, ",", 2)[0]
		x = x[:min(len(x), int(c.rate*c.seconds))]
		ts := make([]float64, len(x))
		for i := range ts {
			ts[i] = float64(i) / c.rate
		}
		got := periodOf(ts, x, 1/c.rate)
		t.Logf("%s: %.3f s, by the script %.3f s", name, got, c.period)
		if math.Abs(got-c.period) > 0.02*c.period {
			t.Errorf("%s: %.3f s, want %.3f s within 2 %%", name, got, c.period)
		}
	}
}
