package rules

import (
	"fmt"

	"strokewise/analyzer/station"
)

// InletPressureLeft is the alarm on air that is shut in at the inlet.
const InletPressureLeft = "inlet-pressure-left"

// inletLeft: the supply valve is closed, or the shift is over, and the inlet still reads
// charged. Where the inlet itself told the shutdown it cannot be. After a shift pressure-left
// speaks for an outlet that is charged or unknown, and tells the inlet's reading with it.
func (v *Evaluator) inletLeft(s *station.Status) verdict {
	active := v.Alarms[v.index(InletPressureLeft)].Present
	switch {
	case v.shut.at == 0 && active && !s.State.Fed():
		return verdict{}
	case v.shut.at == 0:
		return verdict{answer: no, message: "The supply is open again: the inlet is charged, as in service."}
	case !v.due(v.shut, s.At) && !active:
		return verdict{answer: no}
	case !s.Inlet.Known():
		return verdict{} // nothing says that it was charged; pressure-left asks for a look all the same
	case s.Inlet.Value <= ChargedMin && v.Past.InletWord == v.shut.at:
		return verdict{answer: no, message: v.belowByWord("inlet")}
	case s.Inlet.Value <= ChargedMin && active && !v.InletFall.believed(inletFallSeconds):
		return verdict{} // a sudden zero proves nothing
	case s.Inlet.Value <= ChargedMin:
		return verdict{answer: no, message: v.belowLimit("inlet")}
	case !active && v.Past.opening(0, s.At):
		return verdict{}
	case active, v.shut.by == ByValve, v.shut.by == ByCalendar && v.seesTank(s) && s.Outlet.Value <= ChargedMin && !v.contradicts(s):
		return verdict{answer: yes, say: (*Evaluator).trapped}
	}
	return verdict{answer: no}
}

// trapped words it.
func (v *Evaluator) trapped() (string, []Evidence) {
	s := v.last()
	e := append(v.shutdownEvidence(), pressureEvidence("inlet_pressure", &s.Inlet), pressureEvidence("outlet_pressure", &s.Outlet))
	switch {
	case v.Silent || !s.Inlet.Known():
		return "The inlet pressure is not known: treat it as charged. " + v.sinceWhen(), e
	case s.Inlet.Value <= ChargedMin:
		return v.unseenFall("inlet", &s.Inlet), e
	}
	return fmt.Sprintf("The inlet still reads %s: air trapped ahead of the booster can move the piston. %s", v.plate.Reading.Gauge(s.Inlet.Value), v.sinceWhen()), e
}
