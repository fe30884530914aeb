package station

import (
	"fmt"
	"math"
	"strings"
)

// TankBand is the relative half-width of the 90 % band of a tank volume given in the plate
// (common practice, no source).
const TankBand = 0.05

// Suspect is what may be wrong where plate data, counter and readings contradict each other.
type Suspect uint8

// The suspects.
const (
	NoSuspect      Suspect = iota
	AbsoluteTaken          // a sensor reads absolute pressure, and is taken for gauge
	UnitTaken              // a sensor's readings come in another unit
	RangeTaken             // a sensor's range is another one
	OffsetTaken            // a sensor has an offset: it drifted, or was set wrongly
	CockClosed             // a sensor does not see its line
	ExchangedTaken         // the sensors are exchanged
	CountsTaken            // the counter counts the other kind: cycles or strokes
	DriveBoreTaken
	BoostBoreTaken
	StrokeTaken
	TankTaken
	DeliveryTaken // strokes deliver less than the plate's: a worn seal, a leaking check valve
	SetTaken      // the set pressure
	SetAsAbsolute // the set pressure is absolute, and given as gauge
	NumSuspects
)

// suspects hold the key of the configuration that a suspect stands in, "" of a sensor, and its name.
var suspects = [NumSuspects]struct{ key, name string }{
	AbsoluteTaken:  {"", "absolute"},
	UnitTaken:      {"", "unit"},
	RangeTaken:     {"", "range"},
	OffsetTaken:    {"", "offset"},
	CockClosed:     {"", "closed cock"},
	ExchangedTaken: {"", "exchanged"},
	CountsTaken:    {"counter.counts", "counts"},
	DriveBoreTaken: {"booster.drive_bore", "drive bore"},
	BoostBoreTaken: {"booster.boost_bore", "boost bore"},
	StrokeTaken:    {"booster.stroke", "stroke"},
	TankTaken:      {"tank.volume", "tank volume"},
	DeliveryTaken:  {"strokes", "delivery"},
	SetTaken:       {"booster.set_pressure", "set pressure"},
	SetAsAbsolute:  {"booster.set_pressure", "set pressure as absolute"},
}

// String returns the suspect's name, "" for NoSuspect.
func (s Suspect) String() string { return suspects[s%NumSuspects].name }

// Blame is a suspect, with what is given and what the traces ask for instead.
type Blame struct {
	Is      Suspect
	Sides   Sides       // of sensors
	Mistake UnitMistake // of UnitTaken
	// Given and Seen are the plate's value and the one that the traces ask for, or what the sensor reads and what
	// it should: Pa gauge, m, m³, or strokes of a count by Is. 0: the value is not known, its ratio is Given over Seen.
	Given, Seen float64
	Ratio       float64 // Given over Seen
}

// Key returns the key of the configuration that the blame concerns: that of a sensor is its channel.
func (b *Blame) Key() string {
	if key := suspects[b.Is%NumSuspects].key; key != "" {
		return key
	}
	switch b.Sides {
	case InletSide:
		return "inlet_pressure"
	case OutletSide:
		return "outlet_pressure"
	}
	return "inlet_pressure and outlet_pressure"
}

// Contradiction is that plate data, counter and readings cannot all be right. Which is wrong is one of its blames, the
// likeliest first: the traces cannot tell these apart.
type Contradiction struct {
	N      int // of the blames, 0: there is no contradiction
	Blames [4]Blame
	Since  Instant
}

// Has returns the blame of a suspect, nil where it is none of them.
func (c *Contradiction) Has(is Suspect, sides Sides) *Blame {
	for i := range c.N {
		if b := &c.Blames[i]; b.Is == is && b.Sides == sides {
			return b
		}
	}
	return nil
}

// In returns the contradiction in words with pressures in a unit of reading, "" where there is none.
func (c *Contradiction) In(unit Reading) string {
	var parts []string
	for i := range c.N {
		parts = append(parts, c.Blames[i].in(unit))
	}
	return strings.Join(parts, "; or ")
}

// in returns the blame in words.
func (b *Blame) in(unit Reading) string {
	reads := func(why string) string {
		if b.Given == 0 {
			return b.Key() + ": " + why
		}
		return fmt.Sprintf("%s: reads %s where %s is expected: %s", b.Key(), unit.Gauge(b.Given), unit.Gauge(b.Seen), why)
	}
	switch b.Is {
	case AbsoluteTaken:
		return reads("absolute pressure taken as gauge")
	case UnitTaken:
		return reads("another unit (" + b.Mistake.String() + ")")
	case RangeTaken:
		return reads(fmt.Sprintf("a range that is %.3g times the sensor's", b.Ratio))
	case OffsetTaken:
		return reads("an offset")
	case CockClosed:
		return b.Key() + ": does not move with the strokes: a closed gauge cock"
	case DeliveryTaken:
		return fmt.Sprintf("strokes deliver 1/%.2g of what the plate asks for: a worn seal, a leaking check valve", b.Ratio)
	case ExchangedTaken:
		return b.Key() + ": the sensors are exchanged"
	case CountsTaken:
		return fmt.Sprintf("%s: %s given, the traces show %s", b.Key(), countsOf(b.Given), countsOf(b.Seen))
	}
	return b.Key() + ": " + b.values(unit)
}

// values returns both values of a key of the plate in words.
func (b *Blame) values(unit Reading) string {
	show := func(x float64) string { return fmt.Sprintf("%.3g mm", 1e3*x) }
	switch b.Is {
	case TankTaken:
		show = func(x float64) string { return fmt.Sprintf("%.3g L", 1e3*x) }
	case SetTaken, SetAsAbsolute:
		show = unit.Gauge
	}
	if b.Given == 0 {
		return fmt.Sprintf("%.3g times what the traces show", b.Ratio)
	}
	text := fmt.Sprintf("%s given, the traces show %s", show(b.Given), show(b.Seen))
	if b.Is == SetAsAbsolute {
		text += ": an absolute pressure given as gauge"
	}
	return text
}

func countsOf(strokes float64) string {
	if strokes > 1.5 {
		return "cycles"
	}
	return "strokes"
}

// BoostBore returns the bore of a boost piston without a rod that sweeps the plate's volume, m, 0 where it is not known.
func (p *Plate) BoostBore() float64 {
	if p.SweptBoost <= 0 || p.StrokeLen <= 0 {
		return 0
	}
	return math.Sqrt(4 / math.Pi * p.SweptBoost / p.StrokeLen)
}
