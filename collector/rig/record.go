package rig

import (
	"encoding/json"
	"fmt"
	"io"
	"math"
	"slices"

	"strokewise/analyzer/station"
	"strokewise/collector/rig/model"
	"strokewise/collector/trace"
)

// Truth is what a recorded station really did. Air in litres ANR, times in s.
type Truth struct {
	Station string        `json:"station"`
	From    string        `json:"from"`
	To      string        `json:"to"`
	Totals  model.Totals  `json:"totals"`
	Faults  []TruthFault  `json:"faults"`
	Strokes []TruthStroke `json:"strokes"`
}

// TruthFault is a fault of the recording.
type TruthFault struct {
	Fault string  `json:"fault"`
	Level float64 `json:"level"`
	Unit  string  `json:"unit,omitempty"`
	From  string  `json:"from"`
}

// TruthStroke is the end of a stroke.
type TruthStroke struct {
	At   string `json:"at"`
	Side string `json:"side"`
}

// Record writes the readings of a station from start for some ns as a trace, and returns
// its truth.
func Record(w io.Writer, spec Spec, start station.Instant, ns int64) (*Truth, error) {
	s := New(spec, start, 0)
	var chs []station.Channel
	for c, has := range map[station.Channel]bool{station.InletPressure: spec.Sensors.Inlet, station.OutletPressure: spec.Sensors.Outlet, station.Cycles: spec.Sensors.Counter, station.HeaderPressure: spec.Sensors.Header, station.InletFlow: spec.Sensors.Flow} {
		if has {
			chs = append(chs, c)
		}
	}
	slices.Sort(chs)
	out, err := trace.NewWriter(w, chs...)
	if err != nil {
		return nil, err
	}
	tr := &Truth{Station: spec.Plate.Key.String(), From: start.String(), To: start.Add(ns).String(), Faults: []TruthFault{}, Strokes: []TruthStroke{}}
	for at := start; at < start.Add(ns); {
		at = min(at.Add(station.Second), start.Add(ns))
		if err := rows(out, chs, s.Until(at)); err != nil {
			return nil, err
		}
		for _, k := range s.TakeStrokes() {
			tr.Strokes = append(tr.Strokes, TruthStroke{k.At.String(), k.Side.String()})
		}
	}
	tr.Totals = s.Truth()
	for _, f := range spec.Faults {
		level := f.Level
		if level == 0 {
			level = kinds[f.Kind].usual
		}
		tr.Faults = append(tr.Faults, TruthFault{f.Kind.String(), level, f.Kind.Unit(), max(f.From, start).String()})
	}
	return tr, out.Close()
}

// rows writes blocks whose times are those of the first, with gaps where a channel has no
// reading.
func rows(w *trace.Writer, chs []station.Channel, blocks []station.Block) error {
	if len(blocks) == 0 {
		return nil
	}
	at := make([]int, len(blocks))
	values := make([]float64, len(chs))
	for {
		var t station.Instant
		found := false
		for i := range blocks {
			if b := &blocks[i]; at[i] < b.Len() && (!found || b.At(at[i]) < t) {
				t, found = b.At(at[i]), true
			}
		}
		if !found {
			return nil
		}
		for k, c := range chs {
			values[k] = math.NaN()
			for i := range blocks {
				if b := &blocks[i]; b.Channel == c && at[i] < b.Len() && b.At(at[i]) == t {
					values[k] = b.Values[at[i]]
					at[i]++
				}
			}
		}
		if err := w.Write(t, values...); err != nil {
			return err
		}
	}
}

// WriteTruth writes a truth as JSON.
func WriteTruth(w io.Writer, t *Truth) error {
	e := json.NewEncoder(w)
	e.SetIndent("", " ")
	if err := e.Encode(t); err != nil {
		return fmt.Errorf("cannot write truth: %w", err)
	}
	return nil
}
