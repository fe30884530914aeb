package rules

import (
	"fmt"

	"strokewise/analyzer/station"
)

// RateStep is the finding on an hour with more strokes than like days have at that hour.
const RateStep = "rate-step"

// followHours adds a step to its hour, and compares the hour before once it is over.
func (v *Evaluator) followHours(s *station.Status) {
	d := &v.Like
	if !d.Open.holds(s.At) {
		v.renewLike()
		d.judge(v.leastRise())
		d.next(s, &v.roster, v.plate.Calendar)
	}
	d.Open.take(s, v.now[qHeaderLow] == 1)
	v.fillHours()
}

// fillHours sets what the newest hour that could be compared has shown.
func (v *Evaluator) fillHours() {
	q, d := &v.now, &v.Like
	q[qHourStrokes], q[qHourUsual], q[qHourLimit], q[qHourDays] = nan, nan, nan, nan
	if n := &d.Newest; n.From != 0 {
		q[qHourStrokes], q[qHourUsual], q[qHourLimit], q[qHourDays] = n.Rate, n.Usual, n.Limit, float64(n.Days)
	}
	q[qRateStepped], q[qExtraDraw], q[qExtraCost] = truth(d.Step != 0), nan, nan
	if d.Step == 0 {
		if !d.Settled {
			q[qRateStepped] = nan
		}
		return
	}
	air, _ := v.strokeAir()
	q[qExtraDraw] = d.Step / 3600 * air
	if price := v.airPrice(); price.Known() {
		ratio := 1.0
		if r := &v.last().Estimates[station.InletOverDelivered]; r.Known() {
			ratio = r.Value
		}
		q[qExtraCost] = price.Year(station.AtInlet(q[qExtraDraw], ratio))
	}
}

// strokeAir returns the air that a stroke delivers, m³ ANR: as quiet recharges showed it, else
//
//	eta p1 V_b/p_0
//
// at the inlet of the moment, temperatures taken as equal; NaN without swept volume or inlet. Where eta is not known it is taken
// as 1, and bound is true: re-expansion of the dead volume takes off a tenth or so.
func (v *Evaluator) strokeAir() (air float64, bound bool) {
	s, p := v.last(), v.plate
	if d := &s.Estimates[station.StrokeDelivery]; d.Known() {
		return d.Value, false
	}
	if p.SweptBoost <= 0 || !s.Inlet.Known() {
		return nan, false
	}
	eta := &s.Estimates[station.VolumetricEfficiency]
	air = p.SweptBoost * (s.Inlet.Value + float64(p.AmbientPressure())) / float64(station.P0ANR)
	if !eta.Known() {
		return air, true
	}
	return eta.Value * air, false
}

// about returns how exactly the air of a stroke is known, in words.
func (v *Evaluator) about() string {
	if _, bound := v.strokeAir(); bound {
		return "at most about"
	}
	return "about"
}

// leastRise returns by how many strokes an hour must rise to matter: those of a draw as large as the leak limit, 0 where the
// air of a stroke is not known.
func (v *Evaluator) leastRise() float64 {
	if air, _ := v.strokeAir(); air > 0 {
		return v.now[qLeakLimit] * 3600 / air
	}
	return 0
}

// likePlate returns what of the plate decides how many strokes a branch takes. Days of another one are not like.
func likePlate(p *station.Plate) string {
	return fmt.Sprintf("%d %g %g %g %g %g %v %q %g %q %g %g %q %q", p.Counts, p.SweptDrive, p.SweptBoost, p.Set, p.DriveSet, p.RegulatorSet, p.Ungoverned, p.Header,
		p.TankVolume, p.Tank, p.Required, p.BaseDemand, p.Serial, p.Overhauled)
}

// renewLike forgets the days of another plate, or of a booster before its overhaul.
func (v *Evaluator) renewLike() {
	of := likePlate(v.plate)
	if v.Like.Of != "" && v.Like.Of != of {
		v.Like.clear()
	}
	v.Like.Of = of
}

// newUsual makes what strokes now the new usual, by a person's word, and ends the finding. Days are learned anew.
func (v *Evaluator) newUsual(i int, c *station.Command, at station.Instant) error {
	a := &v.Alarms[i]
	v.Like.clear()
	v.fillHours()
	a.True, a.Present, a.LastTime = 0, false, at
	v.move(i, Normal, at, word(c))
	return nil
}

// takesAsUsual reports whether a person's closing of a finding that stands declares its level usual.
func (v *Evaluator) takesAsUsual(i int, c *station.Command) bool {
	return v.set[i].Name == RateStep && v.Alarms[i].State.Active() && (c.Cause == station.CauseUse || c.Cause == station.CauseSetting)
}

// stepSince words since when a step stands.
func (v *Evaluator) stepSince() string { return v.clock(v.Like.Since) }

// stepDraw words what a step draws, as a sentence to add; "" where the air of a stroke is not known.
func (v *Evaluator) stepDraw() string {
	if q := v.now[qExtraDraw]; finite(q) {
		return fmt.Sprintf(" That is %s %.0f L/min ANR more air.", v.about(), q*60e3)
	}
	return ""
}

// stepCost words what it costs, as a sentence to add; "" where that is not known.
func (v *Evaluator) stepCost() string {
	if cost := v.now[qExtraCost]; finite(cost) {
		return fmt.Sprintf(" If it goes on all year (8,760 h) it costs %s %s.", v.about(), v.money(cost))
	}
	return ""
}
