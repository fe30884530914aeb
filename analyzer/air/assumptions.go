package air

import "strokewise/analyzer/station"

// BoostAssumptions gives what PerStroke takes for granted of the boost side: none of it
// shows in the traces.
func BoostAssumptions() []station.Input {
	return []station.Input{
		assumed("dead volume of a boost chamber over its swept volume, c", deadBoost, "", "5 to 10 % is usual: common practice, no source"),
		assumed("further loss by cracking pressure and warm chambers", boostLoss, "", "an independent model of a doubling booster"),
		assumed("half-width of the band", 100*boostBand, "%", "an independent model of a doubling booster"),
		reference(),
	}
}

// DriveAssumptions gives the same of the drive side.
func DriveAssumptions() []station.Input {
	return []station.Input{
		assumed("dead volume of a drive chamber over its swept volume", deadDrive, "", "common practice, no source"),
		{Name: "friction in the lower bound of p_d", Text: "none", Origin: station.Assumed, Source: "a bound"},
		reference(),
	}
}

func reference() station.Input {
	return assumed("temperature of the air, that of ANR", T0ANR-273.15, "°C", "common practice, no source")
}

func assumed(name string, v float64, unit, source string) station.Input {
	return station.Input{Name: name, Value: v, Unit: unit, Origin: station.Assumed, Source: source}
}
