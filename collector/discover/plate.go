package discover

// Step is what is asked about a station together, with what the answers buy. The order is that of asking: the
// first step that is not answered is what is needed for the next figure.
type Step struct {
	Keys []Key
	Buys string
}

// Key is a key of a station in the configuration.
type Key struct {
	Name    string // as in the configuration, from the station: booster.set_pressure
	Label   string
	Example string
}

// Steps are the steps, the first first.
func Steps() []Step { return steps }

var steps = []Step{
	{[]Key{{"booster.set_pressure", "Set pressure of the governor", "900 kPa"}},
		"the alarms on a set that is not reached or exceeded, without waiting for runs that show it"},
	{[]Key{{"tank.volume", "Volume of the tank, with the piping up to the regulator", "20 L"}},
		"the leak in L/min, what it costs, and the energy that is stored after the shift"},
	{[]Key{{"booster.drive_bore", "Bore of the drive side", "63 mm"}, {"booster.boost_bore", "Bore of the boost side", "63 mm"}, {"booster.rod", "Diameter of the rod", "16 mm"}, {"booster.stroke", "Stroke", "60 mm"}},
		"the air of each stroke, and with it consumption and cost, what the outlet can reach, load, and what the supply line passes"},
	{[]Key{{"supply.bore", "Bore of the supply line", "9 mm"}, {"supply.length", "Length of the supply line", "12 m"}},
		"whether the supply line is too narrow or something in it is clogged, and the bore that it needs"},
	{[]Key{{"tank.relief_pressure", "Set pressure of the relief valve", "1100 kPa"}, {"tank.ps", "Highest pressure on the tank's name plate", "1100 kPa"}},
		"the alarms on a relief valve that lifts, and on a set that is too near to it or above the name plate"},
	{[]Key{{"limits.hose", "Pressure that the hoses are rated for", "1200 kPa"}},
		"an alarm when the hoses carry more than they are rated for"},
	{[]Key{{"booster.max_stroke_rate", "Highest stroke rate on the name plate", "2 /s"}},
		"the load without waiting for a time in which the governor is open"},
}
