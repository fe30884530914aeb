package station

import (
	"math"
	"strconv"
	"strings"
)

// Origin says where an input of a figure comes from.
type Origin uint8

// The origins.
const (
	FromPlate Origin = iota
	Measured         // by the station's sensors
	Computed         // from other inputs
	Assumed          // a constant of the program, not known of this station
)

// String gives the origin's name in outputs.
func (o Origin) String() string { return [...]string{"plate", "measured", "computed", "assumed"}[o%4] }

// Input is something that a figure was obtained from. Its value stands in the unit that
// people read.
type Input struct {
	Name   string
	Value  float64
	Unit   string // of the value
	Text   string // instead of a value
	Origin Origin
	Source string // of what is assumed
}

// Explanation says how a figure, a sum or the state was obtained, so that a person can argue
// with it.
type Explanation struct {
	Name    string // in tables: of the figure, or "strokes", "duty", "state" and so on
	Key     string // in the JSON of a replay
	Title   string
	What    string
	Formula string
	Source  string
	Inputs  []Input

	Estimate Estimate // of a figure, SI
	Unit     string   // that people read
	Factor   float64  // from SI to Unit
	Places   int
	Air      bool // at ANR: scaled to the reference that is chosen

	Said  string // value in words, of what is no figure; the caller's where it is empty
	Needs string // what would make it known, where it is not
}

// Value is an input with a value.
func Value(name string, v float64, unit string, from Origin) Input {
	return Input{Name: name, Value: v, Unit: unit, Origin: from}
}

// Shown gives the value with its unit, or the text in its place.
func (i *Input) Shown() string {
	if i.Text != "" {
		return i.Text
	}
	return strings.TrimSpace(Brief(i.Value) + " " + i.Unit)
}

// From says where the input comes from.
func (i *Input) From() string {
	if i.Source != "" {
		return i.Origin.String() + ": " + i.Source
	}
	return i.Origin.String()
}

// Line gives the input in a line.
func (i *Input) Line() string { return i.Name + ": " + i.Shown() + " (" + i.From() + ")" }

// Brief gives a number with four significant figures, whole numbers as they are.
func Brief(v float64) string {
	if v == math.Trunc(v) && math.Abs(v) < 1e9 {
		return strconv.FormatFloat(v, 'f', 0, 64)
	}
	if a := math.Abs(v); a >= 1e-3 && a < 1e6 {
		text := strconv.FormatFloat(v, 'f', max(0, 3-int(math.Floor(math.Log10(a)))), 64)
		if strings.Contains(text, ".") {
			text = strings.TrimRight(strings.TrimRight(text, "0"), ".")
		}
		return text
	}
	return strconv.FormatFloat(v, 'g', 4, 64)
}
