package signal

import (
	"bufio"
	"compress/gzip"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"strokewise/deploy/peers"
)

// lines returns the lines of a gzipped recording that are not empty.
func lines(t *testing.T, elem ...string) []string {
	t.Helper()
	f, err := os.Open(filepath.Join(elem...))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r, err := gzip.NewReader(f)
	if err != nil {
		t.Fatal(err)
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

// The compressor and reservoir of a train, every 9 to 10 s (a slice of the MetroPT-3 data,
// UCI repository; CC BY 4.0, licence from memory). Band and decay by an independent script; COMP is 1
// while the compressor runs unloaded.
func TestTrainAirUnit(t *testing.T) {
	ts, p, unloaded := trainAirUnit(t)
	var on, off []int // rows in which the compressor begins and ends to pump
	for i := 1; i < len(unloaded); i++ {
		switch {
		case unloaded[i] < unloaded[i-1]:
			on = append(on, i)
		case unloaded[i] > unloaded[i-1]:
			off = append(off, i)
		}
	}
	if len(on) != 5 || len(off) != 5 || on[0] > off[0] {
		t.Fatalf("pump-ups at %v, ended at %v, want 5", on, off)
	}
	near(t, "lowest", Quantile(p, 0), 8.064, 1e-9)
	near(t, "highest", Quantile(p, 1), 10.098, 1e-9)

	var decay, robust []float64
	for i := 1; i < len(on); i++ {
		x, y := ts[off[i-1]:on[i]], p[off[i-1]:on[i]]
		l, ok := Line(x, y)
		r, ok2 := TheilSen(x, y)
		s, ok3 := Sen(x, y, nil, 1)
		if !ok || !ok2 || !ok3 || s.Value < s.Low || s.Value > s.High {
			t.Fatalf("no line, or one outside of its interval: %+v", s)
		}
		t.Logf("decay %.5f +- %.5f (least squares), %.5f (Theil-Sen) bar/min", 60*l.Slope, 60*l.SlopeErr, 60*r.Slope)
		near(t, "Sen's slope", s.Value, r.Slope, 0.01)
		decay, robust = append(decay, 60*l.Slope), append(robust, 60*r.Slope)
	}
	near(t, "decay by least squares, bar/min", Median(decay), -0.0591, 0.02)
	near(t, "decay by Theil-Sen, bar/min", Median(robust), -0.0591, 0.05)
}

// trainAirUnit reads times (s), reservoir pressure (bar) and COMP.
func trainAirUnit(t *testing.T) (ts, p, comp []float64) {
	t.Helper()
	text := lines(t, peers.Folder(t, peers.DatasetsEnv), "train-air-unit", "compressor-1000-rows.csv.gz")
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
