package air

import "strokewise/analyzer/station"

// BoostAssumptions gives what PerStroke takes for granted of the boost side: none of it
// shows in the traces.
func BoostAssumptions() []station.Input {
	return append([]station.Input{
		assumed("dead volume of a boost chamber over its swept volume, c", deadBoost, "", "5 to 10 % is usual: common practice, no source"),
		assumed("l0: loss by cracking pressure and warm chambers", restLoss, "", "virtual stations and an independent model"),
		assumed("l1: loss by the inlet check valve's drop, times the stroke's time squared", suctionLoss, "s²", "virtual stations and an independent model"),
		assumed("half-width of the band of l0", restBand, "", "virtual stations"),
		assumed("of l1, share of it", 100*suctionBand, "%", "check valves from 0.6 to 1.4 of the usual size"),
		assumed("and of the dead volume over the swept volume", deadBand, "", "virtual stations"),
	}, reference()...)
}

// DriveAssumptions gives the same of the drive side.
func DriveAssumptions() []station.Input {
	return append([]station.Input{
		assumed("dead volume of a drive chamber over its swept volume", deadDrive, "", "common practice, no source"),
		{Name: "friction in the lower bound of p_d", Text: "none", Origin: station.Assumed, Source: "a bound"},
		assumed("n: how fast the back pressure blows down", blowdown, "", "fitted to virtual stations"),
		assumed("x: (p1 - p_low)/p1 of the usual load", usualLoad, "", "common practice, no source"),
		assumed("t_s: time after which a stroke has stood", standing, "s", "fitted to virtual stations"),
	}, reference()...)
}

// LawInputs gives the shares of the drive law in force, usual or taught by a meter.
func (l *Learned) LawInputs() []station.Input {
	law, from, source := UsualDrive, station.Assumed, "fitted to virtual stations"
	if l.Metered {
		law, from, source = l.Drive, station.Computed, ""
	}
	var out []station.Input
	for i, name := range [...]string{"drag", "open", "restart"} {
		out = append(out, station.Input{Name: name, Value: law[i], Origin: from, Source: source})
	}
	if !l.Metered || l.Away {
		out = append(out, assumed("half-width of the law's band", 100*DriveBand, "% of p1", "virtual stations"))
	}
	return out
}

// PaceInputs gives the times of strokes that the drive law goes by.
func (p Pace) PaceInputs() []station.Input {
	took := station.Value("t: time of the last stroke", p.Took, "s", station.Measured)
	if p.Took <= 0 {
		took = station.Input{Name: "t: time of the last stroke", Text: "not known: taken at full speed, g = 1", Origin: station.Measured}
	}
	fast := station.Value("T: time of the fastest strokes, at the usual load, within what full speed may be", p.fastest(), "s", station.Measured)
	if p.Fastest <= 0 {
		fast = assumed(fast.Name, p.fastest(), "s", "common practice, no source")
	}
	return []station.Input{took, fast}
}

// OpenAssumptions gives what OpenStroke takes for granted.
func OpenAssumptions() []station.Input {
	return []station.Input{
		assumed("what a stroke takes whatever the load, share of the filling time", feedShare, "", "fitted to virtual stations"),
		assumed("friction, share of p1", frictionShare, "", "fitted to virtual stations"),
		assumed("critical pressure ratio of the drive's feed, in psi", feedB, "", "common practice, no source"),
	}
}

// reference gives the condition of ANR.
func reference() []station.Input {
	return []station.Input{assumed("p_0: pressure of ANR", float64(P0ANR)*1e-3, "kPa abs", "ISO 8778")}
}

func assumed(name string, v float64, unit, source string) station.Input {
	return station.Input{Name: name, Value: v, Unit: unit, Origin: station.Assumed, Source: source}
}
