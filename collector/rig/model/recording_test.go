package model

import (
	"compress/gzip"
	"encoding/csv"
	"encoding/json"
	"os"
	"path/filepath"
	"strconv"
	"testing"
)

// recording is what an independent model wrote: a trace at 100 Hz (kPa gauge), the ends of
// the strokes, and totals a minute.
type recording struct {
	Minutes []struct {
		Strokes   int     `json:"strokes"`
		Inlet     float64 `json:"inlet_air_l"`
		Exhaust   float64 `json:"exhaust_air_l"`
		Delivered float64 `json:"delivered_air_l"`
		Demand    float64 `json:"demand_l"`
		Moving    float64 `json:"moving_s"`
		P1        float64 `json:"p1_mean_kpa"`
		P2        float64 `json:"p2_mean_kpa"`
	} `json:"minutes"`
	Line   float64 `json:"supply_conductance_dm3_s_bar"`
	LineB  float64 `json:"supply_b"`
	Header float64 `json:"header_kpa"`
	Leak   float64 `json:"leak_conductance_dm3_s_bar"`
	Set    float64 `json:"set_kpa"`
	Band   float64 `json:"governor_band_kpa"`
	Hyst   float64 `json:"governor_hysteresis_kpa"`
	Atm    float64 `json:"atm_kpa"`

	plate struct {
		Drive  float64 `json:"drive_bore_mm"`
		Boost  float64 `json:"boost_bore_mm"`
		Rod    float64 `json:"rod_mm"`
		Stroke float64 `json:"stroke_mm"`
		Tank   float64 `json:"tank_volume_l"`
		Relief float64 `json:"relief_kpa"`
	}
	p1, p2  []float64
	strokes []float64
}

func readRecording(t testing.TB, dir string) *recording {
	t.Helper()
	r := new(recording)
	readJSON(t, filepath.Join(dir, "truth.json"), r)
	readJSON(t, filepath.Join(dir, "station.json"), &r.plate)
	rows := readRows(t, filepath.Join(dir, "trace.csv.gz"))
	for _, row := range rows {
		r.p1, r.p2 = append(r.p1, number(t, row[1])), append(r.p2, number(t, row[2]))
	}
	for _, row := range readRows(t, filepath.Join(dir, "truth_strokes.csv.gz")) {
		r.strokes = append(r.strokes, number(t, row[0]))
	}
	return r
}

func readJSON(t testing.TB, path string, to any) {
	t.Helper()
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(text, to); err != nil {
		t.Fatal(err)
	}
}

func readRows(t testing.TB, path string) [][]string {
	t.Helper()
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	z, err := gzip.NewReader(f)
	if err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(z).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	return rows[1:]
}

func number(t testing.TB, s string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// station gives a station with the recording's plate and truth, its outlet at outlet kPa.
func (r *recording) station(p Params, outlet float64) *Station {
	g := Doubling()
	g.DriveBore, g.BoostBore, g.Rod, g.Stroke = r.plate.Drive/1e3, r.plate.Boost/1e3, r.plate.Rod/1e3, r.plate.Stroke/1e3
	p.Atmosphere = r.Atm * 1e3
	p.Supply.HeaderGauge, p.Supply.Line = r.Header*1e3, Nozzle{r.Line * DM3SBar, r.LineB}
	p.Governor.SetGauge, p.Governor.Band, p.Governor.Hysteresis = r.Set*1e3, r.Band*1e3, r.Hyst*1e3
	p.Tank.Volume, p.Relief.SetGauge = r.plate.Tank/1e3, r.plate.Relief*1e3
	return New(g, p, outlet*1e3)
}

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

// between gives a value at t s between two samples.
func between(x []float64, t float64) float64 {
	i := int(t * perSecond)
	f := t*perSecond - float64(i)
	return x[i]*(1-f) + x[i+1]*f
}

// span gives the height from the lowest to the highest.
func span(x [bins]float64) float64 {
	lo, hi := x[0], x[0]
	for _, v := range x {
		lo, hi = min(lo, v), max(hi, v)
	}
	return hi - lo
}
