package recorded

import (
	"bufio"
	"compress/gzip"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"strokewise/analyzer/station"
)

// start is when every recording begins, s Unix.
const start = 1767225600

// Truth is what the model behind a recording knows. Times are s from Start.
type Truth struct {
	Start   station.Instant
	Seconds float64
	Strokes []float64 // ends
	Minutes []Minute
	Duty    float64 // of the fed time, 0 to 1
	Fed     float64 // s
	// Holding and Starved are s of stall; NaN where the model has their sum alone, which is
	// Fed (1 - Duty).
	Holding, Starved  float64
	Shutdown          float64 // s, 0: never
	Line              float64 // C/sqrt(1-b) of the supply line, m³/(s·Pa)
	Leak              float64 // conductance at the outlet, m³/(s·Pa); 0: tight
	Faults            []Fault
	MustNot           []string // alarms that would be false
	Inlet, Exhaust    float64  // L ANR
	Delivered, Demand float64  // L ANR
	Total             float64  // strokes
}

// Minute is a minute of the truth. Air is in L ANR.
type Minute struct{ Strokes, Inlet, Exhaust, Delivered, Demand float64 }

// Fault is a fault of the station, named as the alarm that is due, from and to, in s.
type Fault struct {
	Alarm    string
	From, To float64
}

// file is what both kinds of truth.json share.
type file struct {
	Duration float64 `json:"duration_s"` // of the second model
	Faults   []struct {
		Fault string
		From  *float64
		To    float64
		FromS float64 `json:"from_s"`
		ToS   float64 `json:"to_s"`
	}
	MustNot []string `json:"must_not_report"`
	Totals  struct {
		Strokes   float64
		Duty      float64  `json:"duty_fed"`
		Fed       *float64 `json:"fed_s"` // of the second model
		Holding   float64  `json:"holding_s"`
		Starved   float64  `json:"starved_s"`
		Inlet     float64  `json:"inlet_air_l"`
		Exhaust   float64  `json:"exhaust_air_l"`
		Delivered float64  `json:"delivered_air_l"`
		Demand    float64  `json:"demand_l"`
		Consumers float64  `json:"consumer_air_l"`
	}
	Minutes json.RawMessage
	Leak    float64  `json:"leak_conductance_dm3_s_bar"`
	Line    float64  `json:"supply_conductance_dm3_s_bar"`
	LineB   *float64 `json:"supply_b"`
	Supply  struct {
		B float64 `json:"supply_b"`
	}
}

// readTruth reads truth.json of either model, and the ends of the strokes.
func readTruth(dir string, shutdown float64) (t Truth, err error) {
	var f file
	if err := readJSON(dir, "truth.json", &f); err != nil {
		return t, err
	}
	T := &f.Totals
	t = Truth{Start: station.Instant(start * 1e9), Duty: T.Duty, Shutdown: shutdown, Leak: f.Leak * 1e-8, MustNot: f.MustNot,
		Inlet: T.Inlet, Exhaust: T.Exhaust, Delivered: T.Delivered, Total: T.Strokes, Demand: T.Demand + T.Consumers}
	for _, x := range f.Faults {
		if x.From != nil {
			x.FromS, x.ToS = *x.From, x.To
		}
		t.Faults = append(t.Faults, Fault{x.Fault, x.FromS, x.ToS})
	}
	b := f.Supply.B
	if f.LineB != nil {
		b = *f.LineB
	}
	t.Line = f.Line * 1e-8 / math.Sqrt(1-b)
	if t.Strokes, err = readStrokes(dir); err != nil {
		return t, err
	}
	if T.Fed != nil {
		err = t.second(&f)
	} else {
		err = t.first(&f)
	}
	if err == nil && len(t.Strokes) != int(t.Total) {
		err = fmt.Errorf("%d ends of strokes, and %g in its totals", len(t.Strokes), t.Total)
	}
	if err != nil {
		err = fmt.Errorf("cannot read recording %s: truth.json: %w", filepath.Base(dir), err)
	}
	return t, err
}

// first sets what the first model has in its own way. It feeds the station until the supply
// closes, and its seconds of standing leave creeping out.
func (t *Truth) first(f *file) error {
	var ms []struct {
		Strokes   float64
		Inlet     float64 `json:"inlet_air_l"`
		Exhaust   float64 `json:"exhaust_air_l"`
		Delivered float64 `json:"delivered_air_l"`
		Demand    float64 `json:"demand_l"`
	}
	if err := json.Unmarshal(f.Minutes, &ms); err != nil {
		return err
	}
	for _, m := range ms {
		t.Minutes = append(t.Minutes, Minute(m))
	}
	t.Seconds = 60 * float64(len(ms))
	t.Fed, t.Holding, t.Starved = t.Seconds, math.NaN(), math.NaN()
	if t.Shutdown > 0 {
		t.Fed = t.Shutdown
	}
	return nil
}

// second sets what the second model has in its own way.
func (t *Truth) second(f *file) error {
	var ms struct {
		Strokes   []float64
		Inlet     []float64 `json:"inlet_air_l"`
		Exhaust   []float64 `json:"exhaust_air_l"`
		Delivered []float64 `json:"delivered_air_l"`
		Demand    []float64 `json:"consumer_air_l"`
	}
	if err := json.Unmarshal(f.Minutes, &ms); err != nil {
		return err
	}
	for i := range ms.Strokes {
		t.Minutes = append(t.Minutes, Minute{ms.Strokes[i], ms.Inlet[i], ms.Exhaust[i], ms.Delivered[i], ms.Demand[i]})
	}
	t.Seconds, t.Fed, t.Holding, t.Starved = f.Duration, *f.Totals.Fed, f.Totals.Holding, f.Totals.Starved
	return nil
}

// readStrokes reads when each stroke ended, s from the start. The second model writes Unix times.
func readStrokes(dir string) ([]float64, error) {
	path := filepath.Join(dir, "truth_strokes.csv.gz")
	f, err := os.Open(path)
	if err != nil {
		return nil, fmt.Errorf("cannot read recording: %w", err)
	}
	defer f.Close()
	z, err := gzip.NewReader(f)
	if err != nil {
		return nil, fmt.Errorf("cannot read recording: %s: %w", path, err)
	}
	var out []float64
	s := bufio.NewScanner(z)
	for s.Scan() {
		at, _, _ := strings.Cut(s.Text(), ",")
		if x, err := strconv.ParseFloat(at, 64); err == nil { // not the header
			if x >= start {
				x -= start
			}
			out = append(out, x)
		}
	}
	return out, s.Err()
}
