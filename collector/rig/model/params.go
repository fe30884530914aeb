package model

// Params are a station's properties and faults besides its cylinder. All may be changed
// between two calls of Advance. Pressures named Gauge are Pa gauge, all others Pa absolute.
type Params struct {
	Atmosphere float64 // Pa absolute
	Ambient    float64 // K, also the header's air

	Supply Supply
	Drive  Drive
	Check  Check
	Piston Piston
	Uneven Uneven
	Second Second

	Governor  Governor
	Port      Port
	Tank      Tank
	Relief    Relief
	Regulator Regulator
	Demand    Demand
	Leaks     Leaks
	Vent      Nozzle // conductance of the tank's vent valve
	VentOpen  bool
	Seed      uint64  // of what wanders
	SensorLag float64 // s, time constant of both pressure sensors, 0: none
	Coarse    float64 // s, inner step while the piston stands, 0: 10 ms; a stroke begins later by up to that much
}

// Supply is the header and the line from it to the booster's inlet, where p1 is measured.
type Supply struct {
	HeaderGauge float64 // Pa gauge, about which Header moves
	Header      Header
	Line        Nozzle
	Factor      float64 // of Line's conductance, 1 when clean, less when narrowed
	Volume      float64 // m³ behind the narrow place: it traps air when the valve shuts
	Shut        bool    // the supply valve is closed
	Dump        Nozzle  // lets the line's air out while Shut; the zero value traps it
}

// Drive is the way of the driving air.
type Drive struct {
	Feed    Nozzle  // inlet to drive chamber, governor fully open, with the changeover valve
	Exhaust Nozzle  // changeover valve with silencer
	Set     float64 // Pa gauge of a regulator in front of Feed, 0: there is none
	Switch  float64 // s in which the changeover valve passes nothing
	Wall    float64 // W/(m² K) from air to wall in all four chambers
	Ice     Ice
}

// Ice narrows the exhaust as driving air that expands freezes its moisture, and thaws. With i from
// 0 to 1 (own choice, a linear law)
//
//	C = Exhaust.C (1 - Depth i), di/dt = (1 - i) q/Air - i/Thaw, q the exhaust's flow
type Ice struct {
	Depth float64 // share of the conductance that is lost at worst, 0: it never ices
	Air   float64 // L ANR of exhaust that bring i to 1 - 1/e without thawing
	Thaw  float64 // s, time constant
}

// Uneven are shares by which what belongs to one side differs from Drive and Check, 0 where it
// does not. Dead volumes differ in Geometry, friction in Piston.
type Uneven struct{ Feed, Exhaust, Inlet, Outlet [2]float64 }

// Second is another booster of the same build on the same line and outlet. Its strokes are not
// counted with those of the first.
type Second struct {
	On       bool
	SetAbove float64 // Pa by which its governor is set above the first one's
}

// Port is the space at the booster's outlet in front of the hose to the tank. The governor sees
// its pressure. With no Volume the booster delivers into the tank itself.
type Port struct {
	Volume float64 // m³
	Hose   Nozzle
	AtTank bool // p2 is measured at the tank, not here
}

// Check are the four check valves of the boost side, and their faults.
type Check struct {
	Inlet, Outlet Nozzle
	Crack         float64   // Pa
	Back          [2]Nozzle // leaks from the tank back past the outlet valve of side a, b
}

// Piston is what holds the piston back. Friction and viscous drag act against motion.
type Piston struct {
	Mass     float64    // kg, both pistons and the rod
	Friction [2]float64 // N when it moves towards the end of side a, b
	Viscous  float64    // N s/m
}

// Governor throttles the drive feed by the outlet pressure. It closes at Set (a soft one
// when it is open by less than Least) and opens again at Set - Hysteresis.
type Governor struct {
	SetGauge   float64 // Pa gauge; without a governor about where the forces balance
	Without    bool    // there is none: a booster of fixed ratio
	Lag        float64 // s, first-order lag of the outlet that it sees, 0: none
	Wander     float64 // Pa rms by which its set wanders
	WanderLag  float64 // s over which it does
	Band       float64 // Pa below Set in which a soft governor goes from open to shut; 0 makes it snap
	Least      float64 // opening below which a soft one shuts, 1
	Hysteresis float64 // Pa
}

// Tank is the tank with its piping to the regulator.
type Tank struct {
	Volume  float64 // m³
	Thermal float64 // s, time constant of the air against the wall at the set pressure
	Wall    float64 // J/K of the wall; 0 keeps the wall at ambient
	WallLag float64 // s, time constant of the wall against the ambient
}

// Relief is a relief valve that opens in proportion above its setting, or one that pops: it opens
// wholly at its setting and closes again at SetGauge (1 - Blowdown).
type Relief struct {
	SetGauge float64 // Pa gauge, 0 without
	Over     float64 // Pa above SetGauge at which it is fully open
	Blowdown float64 // share of SetGauge, 0: it does not pop
	Full     Nozzle
}

// Regulator feeds the consumers at its setting, or with what the tank has when that is
// less; the consumers then draw in proportion to their absolute pressure.
type Regulator struct {
	SetGauge float64 // Pa gauge
	Drop     float64 // Pa that the tank must be above the setting
	Full     Nozzle  // limits what passes
	Lag      float64 // s, first-order lag of the flow behind what Consumers ask for, 0: none
}

// Leaks are holes to the atmosphere, and the worn seal that feeds the drive side.
type Leaks struct {
	Tank      Nozzle // in front of the regulator
	Hose      Nozzle // a hose in front of the regulator that has burst, see Hole
	Branch    Nozzle // behind the regulator
	Line      Nozzle // at the booster's inlet
	DriveSeal Nozzle // inlet to the working drive chamber, past the governor
}

// Default are the properties of a healthy doubling station on a header of 640 kPa with a
// set pressure of 1000 kPa. Conductances, friction and dead volumes are our own
// choice, not yet fitted to recordings.
func Default() Params {
	return Params{
		Atmosphere: 101325, Ambient: 293.15,
		Supply:    Supply{HeaderGauge: 640e3, Line: Nozzle{6 * DM3SBar, 0.3}, Factor: 1, Volume: 2.15e-3},
		Drive:     Drive{Feed: Nozzle{1.72 * DM3SBar, 0.13}, Exhaust: Nozzle{1.76 * DM3SBar, 0.26}, Switch: 9e-3, Wall: 70},
		Check:     Check{Inlet: Nozzle{1.87 * DM3SBar, 0.3}, Outlet: Nozzle{5 * DM3SBar, 0.3}, Crack: 1.15e3},
		Piston:    Piston{Mass: 2, Friction: [2]float64{215, 215}, Viscous: 480},
		Governor:  Governor{SetGauge: 1000e3, Band: 20e3, Least: 0.1, Hysteresis: 18e3},
		Tank:      Tank{Volume: 30e-3, Thermal: 40, Wall: 8000, WallLag: 600},
		Relief:    Relief{SetGauge: 1250e3, Over: 30e3, Full: Nozzle{6 * DM3SBar, 0.3}},
		Regulator: Regulator{SetGauge: 700e3, Drop: 20e3, Full: Nozzle{8 * DM3SBar, 0.3}},
		Vent:      Nozzle{4 * DM3SBar, 0.3},
	}
}
