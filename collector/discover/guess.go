package discover

import (
	"fmt"
	"math"
	"sort"
	"strings"

	"strokewise/analyzer/station"
	"strokewise/collector/payload"
)

// Kind is what a series may be.
type Kind string

// The kinds.
const (
	Pressure    Kind = "pressure"
	Counter     Kind = "counter"
	State       Kind = "state"
	Temperature Kind = "temperature"
	Flow        Kind = "flow"
	Other       Kind = "other"
)

// Raw are the units of a pressure that comes as the number of a current loop's card.
const (
	Counts    = "counts"
	Milliamps = "mA"
)

// Guess is what a series may be, how sure that is, and why. Nothing that is guessed is certain: Sure stays
// below 1.
type Guess struct {
	Is   Kind    `json:"is"`
	Unit string  `json:"unit,omitempty"` // of a pressure
	Sure float64 `json:"sure"`
	Why  string  `json:"why"`
}

// surest is the most that anything is sure of.
const surest = 0.97

// Where the pressures of boost stations lie, Pa gauge: plant air and what boosters make of it (common
// practice, no source). A series whose highest value lies elsewhere may still be one: a line that is vented.
const (
	lowestUsual  = 250e3
	highestUsual = 2.5e6
	ventedShare  = 0.02 // of series whose highest value lies elsewhere; own choice
	ventedSpan   = 1e4  // ratio of the range over which those spread
)

// unitGuess is a unit that a pressure may be in.
type unitGuess struct {
	unit  string
	pa    float64 // of one
	share float64 // of gateways that send it, before anything is known; own choice, no source
}

var unitGuesses = []unitGuess{{"bar", 1e5, 0.35}, {"kPa", 1e3, 0.25}, {"psi", 6894.757, 0.12}, {"MPa", 1e6, 0.05}, {"mbar", 1e2, 0.02}, {"Pa", 1, 0.03}}

// Shares of what else a number may be; own choice, no source.
const (
	shareCounts      = 0.08
	shareMilliamps   = 0.03
	shareTemperature = 0.06
	shareOther       = 0.05
	spanOther        = 1e9 // ratio of the range over which anything else spreads
)

// coarsest is the step, Pa, beyond which a pressure sensor is unlikely: a display with one decimal of a bar.
const coarsest = 10e3

// fullScales are the numbers at the ends of the range of 12, 15 and 16 bit cards, and of one with reserve.
var fullScales = []float64{4095, 27648, 32767, 65535}

// guesses returns what a series may be, the likeliest first.
func (s *series) guesses() []Guess {
	if g, ok := s.told(); ok {
		return []Guess{g}
	}
	if g, ok := s.counts(); ok {
		return g
	}
	var out []Guess
	weigh := func(is Kind, unit string, weight float64, why string) {
		if weight > 0 {
			out = append(out, Guess{is, unit, weight, why})
		}
	}
	for _, u := range unitGuesses {
		weigh(Pressure, u.unit, u.share*s.asPressure(u.pa), s.wordPressure(&u))
	}
	weigh(Pressure, Counts, shareCounts*s.asCounts(), fmt.Sprintf("whole numbers from %s to %s, as the card of a 4-20 mA sensor sends them", plain(s.low), plain(s.high)))
	weigh(Pressure, Milliamps, shareMilliamps*s.asMilliamps(), fmt.Sprintf("%s to %s lies within 4 to 20 mA", plain(s.low), plain(s.high)))
	weigh(Temperature, "C", shareTemperature*s.asTemperature(), fmt.Sprintf("%s to %s could be a temperature in °C: it hardly moves", plain(s.low), plain(s.high)))
	weigh(Other, "", shareOther/math.Log(spanOther), "nothing speaks for a quantity of a boost station")
	return normalised(out)
}

// normalised makes the weights shares of the whole, the largest first.
func normalised(list []Guess) []Guess {
	sum := 0.0
	for i := range list {
		sum += list[i].Sure
	}
	sort.SliceStable(list, func(i, k int) bool { return list[i].Sure > list[k].Sure })
	const mention = 0.02
	n := 0
	for i := range list {
		list[i].Sure = min(list[i].Sure/sum, surest)
		if i == 0 || list[i].Sure >= mention {
			n = i + 1
		}
	}
	return list[:n]
}

// asPressure returns the density of the highest value, over its logarithm, if it is a pressure in a unit of
// pa pascals: even between the usual pressures, thin elsewhere, and thin where the steps are too coarse.
func (s *series) asPressure(pa float64) float64 {
	if s.high <= 0 || s.low*pa < -150e3 { // below a vacuum, with room for a badly set zero
		return ventedShare / math.Log(ventedSpan) * boolean(s.low*pa > -150e3)
	}
	p := (1 - ventedShare) / math.Log(highestUsual/lowestUsual)
	if s.high*pa < lowestUsual || s.high*pa > highestUsual {
		p = ventedShare / math.Log(ventedSpan)
	}
	if step := s.least * pa; step > coarsest {
		p *= (coarsest / step) * (coarsest / step)
	}
	return p
}

// asCounts returns the density if it is a number of a current loop's card: even over the card's range, and
// never anything but whole numbers.
func (s *series) asCounts() float64 {
	if !s.whole || s.low < 0 || s.high <= 0 {
		return 0
	}
	p := 0.0
	for _, full := range fullScales {
		if s.high <= full*1.185 { // the overrange of NAMUR NE 43, 21 mA and more, is told by the card as well
			p += s.high / full / float64(len(fullScales))
		}
	}
	return p
}

func (s *series) asMilliamps() float64 {
	if s.whole || s.low < 3.6 || s.high > 21 {
		return 0
	}
	return s.high / 16
}

// asTemperature: of a tank or a room, -20 to 90 °C; air and steel do not follow strokes.
func (s *series) asTemperature() float64 {
	if s.low < -20 || s.high > 90 || s.high <= 0 {
		return 0
	}
	p := s.high / 110
	if perMinute := (s.high - s.low) / max(s.seconds()/60, 1); perMinute > 2 {
		p *= 4 / (perMinute * perMinute)
	}
	return p
}

func boolean(b bool) float64 {
	if b {
		return 1
	}
	return 0
}

// wordPressure returns in words what the values are in a unit.
func (s *series) wordPressure(u *unitGuess) string {
	low, high := s.low*u.pa/1e5, s.high*u.pa/1e5
	where := "in the range of plant air and what boosters make of it (2.5 to 25 bar)"
	switch {
	case s.high*u.pa > highestUsual:
		where = "above what boosters make (25 bar)"
	case s.high*u.pa < lowestUsual:
		where = "below plant air: a vented line, or another unit"
	case s.least*u.pa > coarsest:
		where += fmt.Sprintf(", but in steps of %s bar", plain(s.least*u.pa/1e5))
	}
	if u.unit == "bar" {
		return fmt.Sprintf("%s to %s bar is %s", plain(low), plain(high), where)
	}
	return fmt.Sprintf("in %s it is %s to %s bar, %s", u.unit, plain(low), plain(high), where)
}

// told returns what the payload says by itself: a unit, or words.
func (s *series) told() (Guess, bool) {
	is, by := Other, "the payload says the unit "+s.unit
	switch {
	case s.named:
		by = "its name is the channel's: " + s.channel.String()
		switch {
		case s.channel.IsPressure():
			if s.unit == "" {
				return Guess{}, false // the unit has to be guessed
			}
			is = Pressure
		case s.channel == station.Cycles:
			is = Counter
		case s.channel == station.SupplyOpen:
			is = State
		case s.channel == station.TankTemperature:
			is = Temperature
		case s.channel == station.InletFlow:
			is = Flow
		}
	case s.words:
		return Guess{Is: State, Sure: 0.9, Why: "it comes as on, off, open, closed, true or false"}, true
	case s.unit == "":
		return Guess{}, false
	case payload.KnowsUnit(station.InletPressure, s.unit):
		is = Pressure
	case payload.KnowsUnit(station.TankTemperature, s.unit):
		is = Temperature
	case payload.KnowsUnit(station.InletFlow, s.unit):
		is = Flow
	}
	return Guess{Is: is, Unit: s.unit, Sure: surest, Why: by}, true
}

// quickest is the most cycles a second that a piston makes without load.
const quickest = 10.0

// counts returns what a series of whole numbers is that only rises, or is 0 or 1; false for others.
func (s *series) counts() ([]Guess, bool) {
	switch {
	case s.binary && s.n > 1:
		return []Guess{{State, "", 0.7, "it is 0 or 1: a valve's end switch, or any other state"}}, true
	case !s.whole || s.named && s.channel.IsPressure():
		return nil, false
	case s.rises > 0 && s.falls == 0:
		return s.rising(), true
	case s.rises == 0 && s.falls == 0 && s.n > 10:
		return []Guess{{Counter, "", 0.4, "it stands: a counter whose station rests, or anything that does not move"},
			{Other, "", 0.4, "it does not move"}, {Pressure, Counts, 0.15, "it does not move"}}, true
	}
	return nil, false
}

// rising returns what whole numbers may be that only rise.
func (s *series) rising() []Guess {
	perSecond := s.rose / max(s.seconds(), 1)
	switch {
	case s.rises < 3:
		return []Guess{{Counter, "", 0.5, fmt.Sprintf("a whole number that rose %d times and never fell", s.rises)},
			{Pressure, Counts, 0.3, "whole numbers, as the card of a sensor sends them"}, {Other, "", 0.15, "too few changes to tell"}}
	case perSecond > quickest:
		return []Guess{{Other, "", 0.9, fmt.Sprintf("it rises by %s a second, and a piston makes at most %s: a clock or another total", plain(perSecond), plain(quickest))}}
	case s.rises == s.n-1 && s.least == s.most && s.n > 10:
		return []Guess{{Other, "", 0.7, "it rises by the same number in every message: it counts its messages"}, {Counter, "", 0.25, "a whole number that only rises"}}
	}
	return []Guess{{Counter, "", 0.9, fmt.Sprintf("a whole number that rose %d times and never fell, %s a second: strokes or cycles", s.rises, plain(perSecond))}}
}

// plain words a number with four digits.
func plain(v float64) string { return strings.TrimSuffix(fmt.Sprintf("%.4g", v), ".0") }
