package station

import (
	"math"
	"time"
)

// Cadence tells how a station's sensors publish.
type Cadence uint8

// The cadences.
const (
	Periodic Cadence = iota
	OnChange         // silence of a channel is no fault
)

// Counts tells what the cycle counter counts.
type Counts uint8

// What a counter counts.
const (
	CountsCycles Counts = iota
	CountsStrokes
)

// OutletSensor tells where the outlet sensor sits.
type OutletSensor uint8

// Places of the outlet sensor.
const (
	AtTank    OutletSensor = iota
	AtBooster              // its port, before a hose: reads what the piston works against
	AtBranch               // behind the regulator: does not see the tank
)

// Plate is what a person knows of a station: geometry, tank, supply, limits. Zero
// means not given; what then cannot be computed is reported unknown. All SI.
type Plate struct {
	Key     Key
	Branch  string
	Header  string // that the station hangs on, "": DefaultHeader
	Cadence Cadence
	Counts  Counts
	Sensor  OutletSensor

	SweptDrive float64 // m³ a stroke
	SweptBoost float64 // m³ a stroke
	AreaRatio  float64 // drive over boost piston area, 1
	StrokeLen  float64 // m
	DriveBore  float64 // m
	Set        Gauge   // Pa
	MaxRate    float64 // strokes a second
	DriveSet   Gauge   `json:",omitempty"` // of a regulator of the drive side alone, Pa, zero: it is fed with the inlet
	Ungoverned bool    `json:",omitempty"` // there is no governor: it strokes until the forces balance

	TankVolume float64 // m³
	Tank       string  `json:",omitempty"` // name of a tank that other boosters fill too, "": none does
	TankAt     string  `json:",omitempty"` // station that speaks for the shared tank, "": this one
	Relief     Gauge   // Pa
	TankPS     Gauge   // Pa, name-plate pressure
	Installed  string  // date
	Inspection string  // date of the next inspection

	SupplyBore   float64 // m
	SupplyLength float64 // m
	LineShared   bool    `json:",omitempty"` // another booster draws through the same line
	RegulatorSet Gauge
	Required     Gauge
	HoseLimit    Gauge
	LeakLimit    float64 // m³/s ANR, zero: the default of the rule
	BaseDemand   float64 `json:",omitempty"` // m³/s ANR that is meant to leave the outlet at all times: no leak
	SagLimit     float64 // 1, zero: the default of the rule

	Alarms string // changes of the alarms' catalogue and own alarms, see rules.Policy

	AirPrice  AirPrice `json:",omitzero"`  // of the site, from the first
	AirPrices string   `json:",omitempty"` // its changes, see AirPriceAt

	Calendar string // of the site, see ReadCalendar; "": none
	Service  string // what comes due, see ReadService; "": nothing but Inspection

	Ambient        Absolute // zero: StandardAtmosphere
	AirTemperature float64  `json:",omitempty"` // K, of the air that the booster draws, zero: not known
	Reading        Reading  `json:",omitempty"` // unit of pressures in messages to people
	Serial         string
	Overhauled     string
	Lateness       time.Duration // zero: 2 s
	Silence        time.Duration // of a periodic channel that is signal-lost, zero: the default of the rule
	Grace          time.Duration // after a shutdown before pressure-left, zero: the default of the rule
}

// AmbientPressure gives the plate's ambient pressure or the standard one.
func (p *Plate) AmbientPressure() Absolute {
	if p.Ambient > 0 {
		return p.Ambient
	}
	return StandardAtmosphere
}

// Bores computes areas and swept volumes from a drive and a boost bore, the rod and
// the stroke (all m): drive area pi/4 drive², less the rod where it passes through the
// drive side; boost area pi/4 (boost²-rod²) unless the boost face is full.
func (p *Plate) Bores(drive, boost, rod, stroke float64, rodThroughDrive, rodThroughBoost bool) {
	ad, ab := math.Pi/4*drive*drive, math.Pi/4*boost*boost
	r := math.Pi / 4 * rod * rod
	if rodThroughDrive {
		ad -= r
	}
	if rodThroughBoost {
		ab -= r
	}
	p.SweptDrive, p.SweptBoost = ad*stroke, ab*stroke
	if ab > 0 {
		p.AreaRatio = ad / ab
	}
	p.StrokeLen, p.DriveBore = stroke, drive
}
