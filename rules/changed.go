package rules

// whyChanged is the reason of a transition that other plate data or another policy brought about.
const whyChanged = "the configuration changed"

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
	v.fill(s)
	for i := range v.set {
		if !v.Alarms[i].Present {
			continue
		}
		c, ok := v.judge(&v.set[i], s)
		if !ok || c.answer != no {
			continue
		}
		c.message, c.why, c.say = "By the changed configuration its condition no longer holds; the readings are what they were.", whyChanged, nil
		if v.set[i].Name == PressureLeft || v.set[i].Name == InletPressureLeft {
			c.message = "By the changed calendar the shift is not over, or the station stays charged by intent. The pressure is what it was."
		}
		v.advance(i, s.At, c)
	}
}

// ByConfiguration reports whether a change of the configuration brought the transition about,
// and neither a reading nor a person.
func (t *Transition) ByConfiguration() bool {
	switch t.Why {
	case whyChanged, whyGone, whyRemoved, whyHeaderRemoved, whyRemoved + askClose, whyHeaderRemoved + askClose:
		return t.By == ""
	}
	return false
}
