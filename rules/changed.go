package rules

// Changed follows a change of the plate at a station in service: what stands and no longer does
// by the new data, on the very readings on which it stood before, ends with that reason. A
// reading that ends an alarm later does so under its own words.
func (v *Evaluator) Changed() {
	v.policy()
	if !v.HaveStep || v.Silent {
		return // nothing is read that the new data could be put to
	}
	s := v.last()
	v.asked = 0
	v.shut = v.told(s, s.At)
	v.renewLike()
	v.fill(s)
	for i := range v.set {
		if !v.Alarms[i].Present {
			continue
		}
		c, ok := v.judge(i, s)
		if !ok || c.answer != no {
			continue
		}
		c.message, c.trigger, c.say = "The configuration was changed, and by the new one the condition no longer holds. The readings have not changed.", PlateChanged, nil
		if v.set[i].Name == PressureLeft || v.set[i].Name == InletPressureLeft {
			c.message = "The calendar was changed: by the new one the shift is not over, or the station stays charged by intent. The pressure has not changed."
		}
		v.advance(i, s.At, c)
	}
}
