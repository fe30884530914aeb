package signal

import (
	"bufio"
	"compress/gzip"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"strokewise/deploy/peers"
)

// lines reads a recording of the open datasets, gzipped or not.
func lines(t *testing.T, elem ...string) []string {
	t.Helper()
	path := filepath.Join(append([]string{peers.Folder(t, peers.DatasetsEnv)}, elem...)...)
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	var r io.Reader = f
	if strings.HasSuffix(path, ".gz") {
		if r, err = gzip.NewReader(f); err != nil {
			t.Fatal(err)
		}
	}
	var out []string
	s := bufio.NewScanner(r)
	for s.Scan() {
		if l := strings.TrimSpace(s.Text()); l != "" {
			out = append(out, l)
		}
	}
	if err := s.Err(); err != nil {
		t.Fatal(err)
	}
	return out
}

func number(t *testing.T, s string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(strings.TrimSpace(s), 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// Pressure of an air-driven, pressure-triggered oscillator (public repository
// rapidalarm/rapidalarm, MIT): cycles and median periods as the data's description and an
// independent script count them, by a 30/70 % hysteresis over the 1-99 % range. Those
// count a run in which the recording begins; two of the four begin above low, and
// Hysteresis, which wants to have seen the low, has one fewer there (counted by a second
// script).
func TestSelfCyclingPneumatic(t *testing.T) {
	for _, c := range []struct {
		name        string
		rises, slip int
		unseen      int     // runs in which the recording begins
		period      float64 // s, 0: not given
	}{
		{"first_test", 207, 2, 0, 1.64},
		{"low_rate", 13, 0, 1, 3.48},
		{"source_disconnect", 31, 0, 1, 0},
		{"exit_port_leak", 9, 0, 0, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			text := lines(t, "self-cycling-pneumatic", c.name+".csv.gz")
			rate := firstNumber(t, text[0])
			col := -1
			for i, h := range strings.Split(text[1], ",") {
				if strings.TrimSpace(h) == "pressure" {
					col = i
				}
			}
			if col < 0 {
				t.Fatalf("no column pressure in %q", text[1])
			}
			var x, ts []float64
			for i, l := range text[2:] {
				x = append(x, number(t, strings.Split(l, ",")[col]))
				ts = append(ts, float64(i)/rate)
			}
			lo, hi := Band(x, 0.3, 0.7)
			at := Rises(x, lo, hi)
			period := Median(Periods(ts, at))
			t.Logf("%d rises, median period %.3f s at %g Hz", len(at), period, rate)
			if d := len(at) - c.rises; d < -c.slip || d > c.slip {
				t.Errorf("%d rises, want %d", len(at), c.rises)
			}
			if n := len(Hysteresis(x, lo, hi)); n != len(at)-c.unseen {
				t.Errorf("%d rises from a low that was seen, want %d", n, len(at)-c.unseen)
			}
			if c.period > 0 {
				near(t, "median period", period, c.period, 0.02)
			}
		})
	}
}

// firstNumber finds the number in a line such as "sampling rate: 100".
func firstNumber(t *testing.T, s string) float64 {
	t.Helper()
	for _, f := range strings.FieldsFunc(s, func(r rune) bool { return !strings.ContainsRune("0123456789.", r) }) {
		if v, err := strconv.ParseFloat(f, 64); err == nil && v > 0 {
			return v
		}
	}
	t.Fatalf("no sampling rate in %q", s)
	return 0
}

// A small double-acting piston driven to and fro (public repository
// EvaZillen/3D-printed-pneumatic-actuator, CC0): ten runs in each file, as the source
// says, by a 30/70 % hysteresis in the position (mm), the pressure (bar) and the force (N).
func TestDoubleActingActuator(t *testing.T) {
	for _, name := range []string{"Circle_5bar", "KDN_3bar", "Stadium_1bar"} {
		for column, what := range map[int]string{4: "position", 5: "pressure", 6: "force"} {
			t.Run(name+"/"+what, func(t *testing.T) {
				var x []float64
				for _, l := range lines(t, "double-acting-actuator", name+".csv.gz") {
					x = append(x, number(t, strings.Split(l, "\t")[column]))
				}
				lo, hi := Band(x, 0.3, 0.7)
				if n := len(Rises(x, lo, hi)); n != 10 {
					t.Errorf("%d runs, want 10", n)
				}
			})
		}
	}
}

// Five sealed chambers left for some 142 s (same repository, CC0): least-squares slope of
// ln(p + 1.013 bar), as computed with an independent script.
func TestChamberDecay(t *testing.T) {
	for name, want := range map[string]float64{
		"aluminium": -2.83e-5, "extruded-a": -8.17e-5, "resin": -3.27e-5, "extruded-b-006": -4.22e-5, "extruded-b-010": -8.52e-5,
	} {
		t.Run(name, func(t *testing.T) {
			var x, y []float64
			for _, l := range lines(t, "chamber-decay", name+".csv") {
				c := strings.Split(l, ";")
				x = append(x, milliseconds(t, c[0])/1e3)
				y = append(y, math.Log(number(t, c[2])+1.013))
			}
			r, ok := Line(x, y)
			if !ok {
				t.Fatal("no line")
			}
			t.Logf("slope %.3g 1/s over %.0f s", r.Slope, x[len(x)-1])
			near(t, "slope of ln p", r.Slope, want, 0.1)
		})
	}
}

// milliseconds reads the time column, in which a dot may separate thousands: "1.003.000"
// is 1003.000 ms, "601.000" is 601.000 ms.
func milliseconds(t *testing.T, s string) float64 {
	t.Helper()
	i := strings.LastIndexByte(s, '.')
	if i < 0 {
		return number(t, s)
	}
	return number(t, strings.ReplaceAll(s[:i], ".", "")+s[i:])
}

// The compressor and reservoir of a train, every 9 to 10 s (a slice of the MetroPT-3 data,
// UCI repository; CC BY 4.0, licence from memory). Pump-up periods, duty, band and decay as
// an independent script gives them; COMP is 1 while the compressor runs unloaded.
func TestTrainAirUnit(t *testing.T) {
	ts, p, unloaded := trainAirUnit(t)
	loaded := make([]float64, len(unloaded))
	for i, v := range unloaded {
		loaded[i] = 1 - v
	}
	on, off := Hysteresis(loaded, 0.3, 0.7), Hysteresis(unloaded, 0.3, 0.7)
	want := []float64{2051, 2002, 2022, 2011}
	got := Periods(ts, on)
	if len(got) != len(want) || len(off) != len(on) {
		t.Fatalf("pump-ups at %v, ended at %v, want %d periods", on, off, len(want))
	}
	pumped := 0.0
	for i := range want {
		near(t, "pump-up period", got[i], want[i], 1e-9)
		pumped += ts[off[i]] - ts[on[i]]
	}
	near(t, "duty over whole periods", pumped/(ts[on[4]]-ts[on[0]]), 0.0502, 0.01)

	// The reservoir alone tells the same: within two samples of 10 s.
	lo, hi := Band(p, 0.3, 0.7)
	for i, v := range Periods(ts, Rises(p, lo, hi)) {
		near(t, "period from the pressure", v, want[i], 20/want[i])
	}
	near(t, "lowest", Quantile(p, 0), 8.064, 1e-9)
	near(t, "highest", Quantile(p, 1), 10.098, 1e-9)

	// The pressure turns where the compressor starts and stops, within a sample; the first
	// turn is the slice's begin, the last stop is not yet followed by a fall of 1 bar.
	var switched []int
	for i := range on {
		switched = append(switched, on[i], off[i])
	}
	turns := Turns(p, 1)
	if len(turns) != len(switched) {
		t.Fatalf("turns %v, want 0 and all but the last of %v", turns, switched)
	}
	for i, at := range turns[1:] {
		if d := at - switched[i]; d < -1 || d > 1 {
			t.Errorf("turn at row %d, compressor at %d", at, switched[i])
		}
	}

	var decay []float64
	for i := 1; i < len(on); i++ {
		l, ok := Line(ts[off[i-1]:on[i]], p[off[i-1]:on[i]])
		r, ok2 := TheilSen(ts[off[i-1]:on[i]], p[off[i-1]:on[i]])
		if !ok || !ok2 {
			t.Fatal("no line")
		}
		t.Logf("decay %.5f +- %.5f (least squares), %.5f (Theil-Sen) bar/min", 60*l.Slope, 60*l.SlopeErr, 60*r.Slope)
		decay = append(decay, 60*l.Slope)
	}
	near(t, "decay, bar/min", Median(decay), -0.0591, 0.02)
}

// trainAirUnit reads times (s), reservoir pressure (bar) and COMP.
func trainAirUnit(t *testing.T) (ts, p, comp []float64) {
	t.Helper()
	text := lines(t, "train-air-unit", "compressor-1000-rows.csv.gz")
	head := strings.Split(text[0], ",")
	at, reservoir, c := slices.Index(head, "timestamp"), slices.Index(head, "Reservoirs"), slices.Index(head, "COMP")
	if at < 0 || reservoir < 0 || c < 0 {
		t.Fatalf("columns missing in %v", head)
	}
	for _, l := range text[1:] {
		cell := strings.Split(l, ",")
		when, err := time.Parse(time.DateTime, cell[at])
		if err != nil {
			t.Fatal(err)
		}
		ts = append(ts, float64(when.Unix()))
		p, comp = append(p, number(t, cell[reservoir])), append(comp, number(t, cell[c]))
	}
	return ts, p, comp
}
