package air

import (
	"math"

	"strokewise/analyzer/station"
)

// Assumptions of the air of a stroke, none of which the traces show.
const (
	// deadBoost is the dead volume of a boost chamber over its swept volume; 5 to 10 %
	// is usual (common practice, no source).
	deadBoost = 0.075
	// deadDrive is the dead volume of a drive chamber over its swept volume (common
	// practice, no source).
	deadDrive = 0.05
	// deadBand is the half-width of the 90 % band of the dead volume: 3 to 12 %.
	deadBand = 0.043
)

// Range is a figure with its 90 % band.
type Range struct{ Value, Low, High float64 }

// StrokeAir is the air of one stroke, litres at ANR: delivered, exhausted, drawn in.
type StrokeAir struct {
	Boost, Drive, Inlet Range
	// Plain is the boost side's air by plate data alone, Least the drive side's at the
	// force balance, Above what each share of the drive law adds to it: litres ANR.
	Plain, Least float64
	Above        DriveLaw
	Efficiency   float64 // volumetric, by plate data alone, 1
}

// Learned is what is known of a booster beyond its plate. The zero value is nothing.
type Learned struct {
	Eta     float64 // measured over assumed volumetric efficiency, 0: not measured
	EtaBand float64 // relative half-width of its 90 % band
	EtaLoss float64 // l1/t² of the strokes that taught it

	// Metered tells that a flow meter has taught Drive, while Eta was MeterEta.
	Metered   bool
	Drive     DriveLaw
	Spread    [3][3]float64 // covariance of Drive
	MeterEta  float64
	MeterBand float64 // relative half-width of the meter's own band
	Away      bool    // the station works where the meter has not seen it
}

// PerStroke gives the air of one stroke with the inlet at p1 and the outlet at p2 by plate
// data alone, at full speed. See Learned.PerStroke.
func PerStroke(p *station.Plate, p1, p2 station.Absolute) (StrokeAir, string) {
	var l Learned
	return l.PerStroke(p, p1, p2, Pace{})
}

// PerStroke gives the air of one stroke with the inlet at p1 and the outlet at p2:
//
//	boost: p1 V_b eta k/p0,                     eta as VolumetricEfficiency
//	drive: (p_d V_d + (p_d - p_atm) V_dead)/p0
//	p_atm + (p2 - p1)/ratio <= p_d <= p1
//
// k is the learned share of the assumed efficiency. p_d, the drive pressure when the exhaust
// opens, is not measured: it follows the usual or the learned DriveLaw between its bounds, the
// force balance without friction and the supply. The band of a single source of error is
// the same for each stroke, so bands of sums are sums of bands; sources are added as the root
// of their squares. p0 is 100 kPa; the air is taken as having 20 °C, see StrokeAir.At. The reason is
// set, and the air zero, where the plate lacks volumes or p1 is not above vacuum.
func (l *Learned) PerStroke(p *station.Plate, p1, p2 station.Absolute, pace Pace) (StrokeAir, string) {
	if p.SweptBoost <= 0 || p.SweptDrive <= 0 {
		return StrokeAir{}, "needs bores and stroke, or swept volumes"
	}
	if !(p1 > 0) || !(p2 > 0) {
		return StrokeAir{}, "needs inlet and outlet pressure"
	}
	s := StrokeAir{Efficiency: VolumetricEfficiency(p1, p2, pace)}
	s.Plain = float64(p1) * p.SweptBoost * s.Efficiency / float64(P0ANR) * 1e3
	s.Boost = s.boost(l, Expansion(p1, p2))
	l.drive(p, p1, p2, pace, &s)
	return s, ""
}

// boost gives the delivered air with its band. What was learned of slow strokes does not tell what
// the inlet valve costs quick ones.
func (s *StrokeAir) boost(l *Learned, expansion float64) Range {
	if l.Eta <= 0 {
		return around(s.Plain, EfficiencyBand(s.Efficiency, expansion)*s.Plain)
	}
	k := l.Eta
	band := math.Hypot(l.EtaBand, suctionBand*(SuctionLoss(s.Efficiency, expansion)-l.EtaLoss)/max(0.1, s.Efficiency))
	return around(k*s.Plain, band*k*s.Plain)
}

func around(v, half float64) Range { return Range{v, v - half, v + half} }

// within keeps a range inside bounds.
func (r Range) within(low, high float64) Range {
	in := func(x float64) float64 { return min(high, max(low, x)) }
	return Range{in(r.Value), in(r.Low), in(r.High)}
}

// drive adds the drive side's air and the inlet's.
func (l *Learned) drive(p *station.Plate, p1, p2 station.Absolute, pace Pace, s *StrokeAir) {
	amb := p.AmbientPressure()
	low, high := DriveBounds(p, p1, p2)
	perShare := float64(p1) * p.SweptDrive * (1 + deadDrive) / float64(P0ANR) * 1e3
	least, most := driveAir(p, low, amb), driveAir(p, high, amb)
	basis := pace.basis(float64(high-low) / float64(p1))
	for i, b := range basis {
		s.Above[i] = perShare * b
	}
	s.Least = least
	half := (s.Boost.High - s.Boost.Low) / 2
	if !l.Metered {
		s.Drive = around(least+perShare*UsualDrive.above(basis), perShare*DriveBand).within(least, most)
		s.Inlet = join(s.Boost, s.Drive, half)
		return
	}
	// the meter told the sum: what is now known better of the boost side is taken off the drive side
	in := l.MeterEta*s.Plain + least + perShare*l.Drive.above(basis)
	band := math.Hypot(l.MeterBand*in, z90*perShare*math.Sqrt(l.variance(basis)))
	if l.Away {
		band = math.Hypot(band, math.Hypot(perShare*DriveBand, half))
	}
	s.Inlet = around(in, band)
	s.Drive = around(in-s.Boost.Value, math.Hypot(band, half)).within(0, math.Inf(1))
}

// z90 is the half-width of a normal distribution's 90 % interval, standard deviations.
const z90 = 1.645

// variance gives that of the law's pressure above the force balance, share of p1 squared.
func (l *Learned) variance(b [3]float64) float64 {
	v := 0.0
	for i := range b {
		for j := range b {
			v += b[i] * l.Spread[i][j] * b[j]
		}
	}
	return max(0, v)
}

// join adds the two sides' air; their errors have nothing to do with each other.
func join(b, d Range, half float64) Range {
	v := b.Value + d.Value
	return Range{v, v - math.Hypot(half, d.Value-d.Low), v + math.Hypot(half, d.High-d.Value)}
}
