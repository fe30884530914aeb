package accuracy

import (
	"math"
	"math/rand/v2"

	"strokewise/analyzer/station"
	"strokewise/collector/rig/draw"
)

// mistakeFrom is when what breaks at work sets in, s: the analyzer has seen the station sound by then.
const mistakeFrom = 600.0

// mistake is a mistake of plate data or sensors, put into the samples of a sound station.
type mistake struct {
	name  string
	draws func(*injection) // what it is on a station
}

// injection is a mistake as it is on one station.
type injection struct {
	*rand.Rand
	c       *draw.Case
	plate   station.Plate
	reads   [2]func(t, v float64) float64 // inlet and outlet: s from start and Pa gauge; nil: as they are
	swapped bool
	named   func(*station.Contradiction) bool // rightly
	doubt   func(station.StateReason) bool    // likewise, of a sensor that is not believed
}

// mistakes are the mistakes, in the order of the table.
var mistakes = []mistake{
	{"inlet absolute as gauge", absolute(station.InletSide)},
	{"outlet absolute as gauge", absolute(station.OutletSide)},
	{"both absolute as gauge", absolute(station.BothSides)},
	{"bar as kPa", otherUnit(station.BarAsKPa)},
	{"psi as kPa", otherUnit(station.PSIAsKPa)},
	{"readings x10", otherUnit(station.BarAsMPa)},
	{"readings x0.1", otherUnit(station.MPaAsBar)},
	{"range x1.6", otherRange(1.6)},
	{"range x1.25", otherRange(1.25)},
	{"range x0.8", otherRange(0.8)},
	{"range x0.625", otherRange(0.625)},
	{"channels exchanged", exchanged},
	{"cycles counted as strokes", counted(station.CountsCycles)},
	{"strokes counted as cycles", counted(station.CountsStrokes)},
	{"drive bore", geometry(station.DriveBoreTaken)},
	{"boost bore", geometry(station.BoostBoreTaken)},
	{"stroke", geometry(station.StrokeTaken)},
	{"tank volume", geometry(station.TankTaken)},
	{"set as absolute", setAbsolute},
	{"inlet's gauge cock closed", cock(0)},
	{"outlet's gauge cock closed", cock(1)},
	{"broken wire", dead(func(top float64) float64 { return -0.25 * top }, 0)},
	{"reads 0", dead(func(float64) float64 { return 0 }, 0)},
	{"loop at 4 mA", dead(func(float64) float64 { return 0 }, 1)},
	{"loop at 20 mA", dead(func(top float64) float64 { return top }, 1)},
	{"step of the outlet", steps(1)},
	{"step of the inlet", steps(0)},
	{"drift", drifts},
}

// blames reports whether a contradiction names a suspect of some sensors.
func (in *injection) blames(is station.Suspect, w station.Sides, ratio float64) {
	in.named = func(c *station.Contradiction) bool {
		b := c.Has(is, w)
		return b != nil && (ratio == 0 || math.Abs(math.Log(b.Ratio/ratio)) < 0.1)
	}
}

// side draws a sensor.
func (in *injection) side() (channel int, w station.Sides) {
	if in.IntN(2) == 0 {
		return 0, station.InletSide
	}
	return 1, station.OutletSide
}

// scale multiplies the readings of some sensors.
func (in *injection) scale(w station.Sides, k float64) {
	for i, s := range [...]station.Sides{station.InletSide, station.OutletSide} {
		if w&s != 0 {
			in.reads[i] = func(_, v float64) float64 { return k * v }
		}
	}
}

func absolute(w station.Sides) func(*injection) {
	return func(in *injection) {
		amb := in.c.Spec.Params.Atmosphere
		for i, s := range [...]station.Sides{station.InletSide, station.OutletSide} {
			if w&s != 0 {
				in.reads[i] = func(_, v float64) float64 { return v + amb }
			}
		}
		in.blames(station.AbsoluteTaken, w, 0)
	}
}

// otherUnit gives the readings of one sensor, or of both, in another unit.
func otherUnit(m station.UnitMistake) func(*injection) {
	return func(in *injection) {
		w := [...]station.Sides{station.InletSide, station.OutletSide, station.BothSides}[in.IntN(3)]
		in.scale(w, m.Factor())
		in.blames(station.UnitTaken, w, m.Factor())
		in.doubt = func(r station.StateReason) bool {
			return r.Sides == w && r.Mistake != station.NoMistake && math.Abs(math.Log(r.Mistake.Factor()/m.Factor())) < 0.1
		}
	}
}

func otherRange(k float64) func(*injection) {
	return func(in *injection) {
		_, w := in.side()
		in.scale(w, k)
		in.blames(station.RangeTaken, w, k)
	}
}

func exchanged(in *injection) {
	in.swapped = true
	in.blames(station.ExchangedTaken, station.BothSides, 0)
	in.doubt = func(r station.StateReason) bool {
		return r.Is == station.LooksExchanged || r.Is == station.ExchangedAtSet || r.Is == station.ExchangedAtOnce
	}
}

// counted is a counter that counts one thing and is configured for the other.
func counted(really station.Counts) func(*injection) {
	return func(in *injection) {
		in.c.Spec.Plate.Counts = really // what the rig counts
		in.plate.Counts = station.CountsCycles + station.CountsStrokes - really
		in.blames(station.CountsTaken, 0, 0)
	}
}

// geometry gives a wrong value in the plate, by a factor of 1.5 to 10 either way.
func geometry(is station.Suspect) func(*injection) {
	return func(in *injection) {
		k := 1.5 * math.Pow(10/1.5, in.Float64())
		if in.IntN(2) == 0 {
			k = 1 / k
		}
		g, p := in.c.Spec.Geometry, &in.plate
		switch is {
		case station.DriveBoreTaken:
			g.DriveBore *= k
		case station.BoostBoreTaken:
			g.BoostBore *= k
		case station.StrokeTaken:
			g.Stroke *= k
		case station.TankTaken:
			p.TankVolume *= k
		}
		p.Bores(g.DriveBore, g.BoostBore, min(g.Rod, 0.3*min(g.DriveBore, g.BoostBore)), g.Stroke, !g.FullFaceDrive, !g.FullFaceBoost)
		in.blames(is, 0, 0)
	}
}

func setAbsolute(in *injection) {
	in.plate.Set += station.Gauge(in.c.Spec.Params.Atmosphere)
	in.blames(station.SetAsAbsolute, 0, 0)
}

// cock closes the gauge cock of a channel: its line holds what it had, and the noise goes on.
func cock(channel int) func(*injection) {
	return func(in *injection) {
		s, held := &in.c.Spec.Sensors, math.NaN()
		w := [...]station.Sides{station.InletSide, station.OutletSide}[channel]
		in.reads[channel] = func(t, v float64) float64 {
			if t < mistakeFrom {
				return v
			}
			if math.IsNaN(held) {
				held = v
			}
			return math.Round((held+s.Noise*in.NormFloat64())/s.Step) * s.Step
		}
		in.blames(station.CockClosed, w, 0)
		in.doubt = func(r station.StateReason) bool {
			return r.Sides == w && (r.Is == station.SensorFrozen || r.Is == station.SensorFrozenAtTop)
		}
	}
}

// dead is a loop that breaks at work: it reads a share of the sensor's range, with noise or without.
func dead(reads func(top float64) float64, noise float64) func(*injection) {
	return func(in *injection) {
		channel, w := in.side()
		s := &in.c.Spec.Sensors
		in.reads[channel] = func(t, v float64) float64 {
			if t < mistakeFrom {
				return v
			}
			return math.Round((reads(sensorTop)+0.1*noise*s.Noise*in.NormFloat64())/s.Step) * s.Step
		}
		in.doubt = func(r station.StateReason) bool {
			switch r.Is {
			case station.SensorFrozen, station.SensorFrozenAtTop, station.SensorSaturated, station.ReadingLost, station.FarBelowAtmosphere,
				station.InletFlatCounted, station.InletFlatPumped, station.OutletFlatCounted:
				return r.Sides == w
			}
			return false
		}
		in.blames(station.CockClosed, w, 0) // it does not move with the strokes
	}
}

// sensorTop is the top of the sensors' range, Pa gauge: 25 bar.
const sensorTop = 2.5e6

// steps sets an offset of 5 to 15 % of set at once.
func steps(channel int) func(*injection) {
	return func(in *injection) {
		w := [...]station.Sides{station.InletSide, station.OutletSide}[channel]
		by := (0.05 + 0.1*in.Float64()) * in.c.Spec.Params.Governor.SetGauge
		in.reads[channel] = func(t, v float64) float64 {
			if t < mistakeFrom {
				return v
			}
			return v + by
		}
		in.doubt = func(r station.StateReason) bool { return r.Sides == w && r.Is == station.ReadingStepped }
		in.blames(station.OffsetTaken, w, 0)
	}
}

// drifts lets the outlet drift away by a tenth of set within three quarters of an hour.
func drifts(in *injection) {
	by := 0.1 * in.c.Spec.Params.Governor.SetGauge
	in.reads[1] = func(t, v float64) float64 { return v + by*max(0, t-mistakeFrom)/2700 }
	in.doubt = func(r station.StateReason) bool {
		return r.Sides == station.OutletSide && (r.Is == station.ZeroDrifted || r.Is == station.ReadingStepped)
	}
	in.blames(station.OffsetTaken, station.OutletSide, 0)
}
