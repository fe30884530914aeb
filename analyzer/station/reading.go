package station

import (
	"strconv"
	"strings"
)

// Reading is the unit in which the people of a site read pressures. Configuration, history and
// exports have units of their own; messages to people are in this one.
type Reading uint8

// The units of reading.
const (
	ReadKPa Reading = iota
	ReadBar
	ReadPSI
	numReadings
)

// readings are the names, the Pa of one unit, and the decimals that a gauge of a boost station shows.
var readings = [numReadings]struct {
	name     string
	pascal   float64
	decimals int
}{
	{"kPa", 1e3, 0},
	{"bar", 1e5, 2},
	{"psi", 6894.757, 0}, // NIST SP 811, appendix B.8
}

// ReadingNames returns the names of the units, as the configuration writes them.
func ReadingNames() []string {
	var all []string
	for _, r := range readings {
		all = append(all, r.name)
	}
	return all
}

// String returns the unit's name.
func (r Reading) String() string { return readings[r%numReadings].name }

// Gauge returns a gauge pressure, Pa, as people of the site read it: "9.83 bar gauge".
func (r Reading) Gauge(pa float64) string { return r.Difference(pa) + " gauge" }

// Difference returns a difference of pressures, Pa, with its unit: "0.15 bar".
func (r Reading) Difference(pa float64) string { return r.Number(pa) + " " + r.String() }

// Scale returns what a pressure in Pa is multiplied by to be a number of the unit.
func (r Reading) Scale() float64 { return 1 / readings[r%numReadings].pascal }

// Decimals returns the decimals that a gauge of a boost station shows in the unit.
func (r Reading) Decimals() int { return readings[r%numReadings].decimals }

// Slope returns a slope, Pa/s, a minute: "4.0 kPa/min". It has one decimal more than a pressure.
func (r Reading) Slope(pa float64) string {
	u := &readings[r%numReadings]
	return strconv.FormatFloat(60*pa/u.pascal, 'f', u.decimals+1, 64) + " " + u.name + "/min"
}

// Input returns an input with a pressure in kPa in the unit; any other as it is.
func (r Reading) Input(i Input) Input {
	rest, ok := strings.CutPrefix(i.Unit, ReadKPa.String())
	if ok && i.Text == "" && (rest == "" || rest[0] == ' ') {
		i.Value, i.Unit = 1e3*i.Value*r.Scale(), r.String()+rest
	}
	return i
}

// Figure returns how people of the site read a figure of this kind: unit, factor from SI, decimals.
func (r Reading) Figure(k *FigureKind) (unit string, factor float64, places int) {
	if k.Unit != "Pa" {
		return k.Shown, k.Factor, k.Places
	}
	return strings.Replace(k.Shown, ReadKPa.String(), r.String(), 1), r.Scale(), k.Places + r.Decimals()
}

// Number returns a pressure, Pa, as a number of the unit.
func (r Reading) Number(pa float64) string {
	u := &readings[r%numReadings]
	text := strconv.FormatFloat(pa/u.pascal, 'f', u.decimals, 64)
	if zero, _ := strconv.ParseFloat(text, 64); zero == 0 {
		return strings.TrimPrefix(text, "-")
	}
	return text
}
