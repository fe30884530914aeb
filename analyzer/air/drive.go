package air

import (
	"math"

	"strokewise/analyzer/station"
)

// DriveLaw tells how far the drive pressure at the end of a stroke lies above the force
// balance without friction, p_low = p_atm + (p2 - p1)/ratio, as three shares:
//
//	p_d - p_low = drag p1 (1 - g) + open (p1 - p_low) g + restart p1 t²/(t² + 9 s²)
//	g = exp(-5 (t/t_f - 1)),  t_f = T sqrt(0.4 p1/(p1 - p_low)),  0 <= g <= 1
//
// With the governor fully open (g = 1) the stroke is as fast as feed, exhaust and check
// valves let it be: all of them take their part of what the supply has left over the load,
// and the exhausting chamber is not empty yet when the stroke is over. So p_d sits at a fixed
// place between its bounds. A throttling governor makes strokes slow, and the back pressure,
// which blows down exponentially, is gone: what is left above the balance is friction and the
// check valves' drop, a share of p1. A stroke that stood half-way (t, the time since the
// stroke before, is many seconds) ends with the governor open against an empty chamber. T is
// the time of the station's fastest strokes, at the usual load of 0.4.
//
// The shares were fitted (least squares) over 60 virtual stations of collector/rig with friction
// from half to twice the usual and feeds from 0.7 to 1.4 of it, and 40 that strove to
// their set pressure with open governors: drag 0.08 to 0.13, open 0.70 to 0.72 (0.72 to 0.76 of
// doublings, 0.65 to 0.71 of quadruplings), restart 0.03 to 0.1 by the decay taken.
// Recordings of an independent model have 0.07 and 0.67 for the first two. A flow meter
// replaces them by the station's own.
type DriveLaw [3]float64

// UsualDrive is the law where none was learned.
var UsualDrive = DriveLaw{0.09, 0.68, 0.065}

const (
	// DriveBand is the half-width of the 90 % band of the usual law, share of p1: over
	// the same 60 stations nine out of ten lay within -0.05 and 0.09.
	DriveBand = 0.075
	// DriveSpread is the standard deviation of each of the three shares from station to
	// station, for learning them.
	DriveSpread = 0.06

	// s: strokes at full speed take no longer, nor less (common practice, no source)
	slowestFull  = 0.65
	quickestFull = 0.3
	usualFull    = 0.45
	usualLoad    = 0.4
	blowdown     = 5.0
	standing     = 3.0 // s
)

// Pace is how fast a stroke was: the time since the one before, the mean of that and of the stroke
// before (the two of a cycle are not told apart equally well), and the time of the fastest strokes of
// the station at the usual load, s. Zero is unknown: the stroke is then taken at full speed.
type Pace struct{ Took, Mean, Fastest float64 }

// Ease gives the factor that brings a stroke's time to what it would be at the usual load:
// sqrt(((p1 - p_low)/p1)/0.4).
func Ease(p *station.Plate, p1, p2 station.Absolute) float64 {
	low, high := DriveBounds(p, p1, p2)
	return ease(float64(high-low) / float64(p1))
}

func ease(left float64) float64 { return math.Sqrt(max(0.05, left) / usualLoad) }

// basis gives what the three shares are multiplied by, as shares of p1; left is
// (p1 - p_low)/p1.
func (p Pace) basis(left float64) [3]float64 {
	if p.Took <= 0 {
		return [3]float64{0, left, 0}
	}
	g := math.Exp(-blowdown * max(0, p.Took*ease(left)/p.fastest()-1))
	t2 := p.Took * p.Took
	return [3]float64{1 - g, g * left, t2 / (t2 + standing*standing)}
}

// fastest gives T, s: what was learned, kept within what full speed may be.
func (p Pace) fastest() float64 {
	if p.Fastest <= 0 {
		return usualFull
	}
	return max(quickestFull, min(p.Fastest, slowestFull))
}

// above gives the law's pressure above the force balance, share of p1.
func (l *DriveLaw) above(b [3]float64) float64 { return l[0]*b[0] + l[1]*b[1] + l[2]*b[2] }

// DriveBounds returns the bounds of the drive pressure at the end of a stroke: the force
// balance without friction, and the supply of the drive side.
func DriveBounds(p *station.Plate, p1, p2 station.Absolute) (low, high station.Absolute) {
	ratio := p.AreaRatio
	if ratio <= 0 && p.SweptBoost > 0 {
		ratio = p.SweptDrive / p.SweptBoost // equal strokes
	}
	amb := p.AmbientPressure()
	low = amb
	if ratio > 0 {
		low = amb + (p2-p1)/station.Absolute(ratio)
	}
	high = max(amb, p.DriveSupply(p1))
	return max(amb, min(high, low)), high
}

// driveAir gives the air, litres ANR, that leaves through the exhaust after a stroke
// that ended with pd in the drive chamber.
func driveAir(p *station.Plate, pd, amb station.Absolute) float64 {
	return (float64(pd)*p.SweptDrive + float64(pd-amb)*deadDrive*p.SweptDrive) / float64(P0ANR) * 1e3
}

// CreepVolume gives the volume, m³, that a standing booster adds to the tank while its outlet
// falls: the air caught in the drive chamber pushes the piston after the falling load, and the
// boost chamber's air expands into the tank. With the drive chamber's air isothermal, the piston
// half-way on the mean, and p_d the force balance with the usual drag,
//
//	V = (p2/p_d) V_d (1/2 + dead) (A_b/A_d)² + V_b (1/2 + c)
//
// 3 % of the tank where that is small against the cylinder.
func CreepVolume(p *station.Plate, p1, p2 station.Absolute) float64 {
	if p.SweptBoost <= 0 || p.SweptDrive <= 0 || !(p1 > 0) {
		return 0
	}
	low, _ := DriveBounds(p, p1, p2)
	pd := float64(low) + UsualDrive[0]*float64(p1)
	ratio := p.AreaRatio
	if ratio <= 0 {
		ratio = p.SweptDrive / p.SweptBoost
	}
	return float64(p2)/pd*p.SweptDrive*(0.5+deadDrive)/(ratio*ratio) + p.SweptBoost*(0.5+deadBoost)
}
