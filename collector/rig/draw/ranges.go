package draw

import (
	"math"
	"math/rand/v2"
)

// span is a range that a value is drawn from.
type span struct{ lo, hi float64 }

// even returns a value of the span, all alike.
func (s span) even(r *rand.Rand) float64 { return s.lo + (s.hi-s.lo)*r.Float64() }

// log returns a value of the span whose logarithm is drawn evenly.
func (s span) log(r *rand.Rand) float64 { return s.lo * math.Pow(s.hi/s.lo, r.Float64()) }

// either returns one of some values.
func either[T any](r *rand.Rand, of ...T) T { return of[r.IntN(len(of))] }

// The ranges of everything, each with its reason. "Own choice" has no source: it is meant to be wider
// than what one would call usual, so that nothing can be tuned to its middle.

// The cylinder.
var (
	bore         = span{0.04, 0.125} // m; own choice: boosters that one person lifts to those on a frame
	strokeOfBore = span{0.6, 1.2}    // own choice: short-stroke and square cylinders
	rodOfBore    = span{0.2, 0.3}    // common practice, no source
	anyRatio     = span{1.7, 3.5}    // gauge ratio of one in five; the others are 2 or 4, which are the usual ones
	deadBoost    = span{0.05, 0.10}  // 5 to 10 % is usual (common practice, no source)
	deadDrive    = span{0.07, 0.11}  // two independent models have 0.08 and 0.10
	seals        = span{25e3, 55e3}  // Pa on the drive piston; the models have 32 and 43 kPa
	speed        = span{0.7, 1.5}    // of the default's feed and exhaust; a second model needs 1.45
	switching    = span{5e-3, 20e-3} // s; own choice: pilot valves of this size
	chamberWall  = span{40, 120}     // W/(m² K); 70 fits the first model, a factor of 1.7 either way
)

// Sides.
var (
	alikeSides  = span{0, 0.02}    // two halves are never quite alike
	unlikeSides = span{0.03, 0.10} // one rod, one worn seal, one dirty silencer: what passes for sound
)

// Supply. A header's band is a share of its mean.
var (
	headerMean  = span{450e3, 800e3} // Pa gauge; plants of 5 to 8 bar less their piping
	headerFour  = span{350e3, 600e3} // of stations above a ratio of 3: the outlet's parts end at 2 MPa
	lineShare   = span{0.8, 1.6}     // of the default's conductance, in proportion to the cylinder: sags of 1 to 6 %
	lineRatio   = span{0.2, 0.5}     // critical pressure ratio of hoses, filters and valves in series
	lineVolume  = span{0.5, 1.5}     // of the default's 2.15 L, in proportion to the cylinder
	calmBand    = span{0.02, 0.06}   // load and unload of a compressor with a receiver that is large enough
	restlessOf  = span{0.06, 0.14}   // the same with a receiver that is too small
	calmPeriod  = span{60, 300}      // s; large receivers; the slowest of plants watched in two independent models is 144 s, own choice beyond
	quickPeriod = span{20, 120}      // s; small receivers, own choice
	loading     = span{0.25, 0.7}    // share of the period in which the compressor loads: half of its power in use, give or take
	calmNoise   = span{5e-4, 2e-3}   // of the mean, rms: pipes and other consumers
	roughNoise  = span{2e-3, 6e-3}   // the same on a pipe that is too narrow, own choice
	noiseLag    = span{10, 60}       // s; own choice
	calmDraw    = span{2e-3, 8e-3}   // of the mean, by which a neighbour lowers the header
	roughDraw   = span{8e-3, 25e-3}  // the same on a pipe that is too narrow
	hold        = span{10, 60}       // s for which neighbours draw: machine cycles, own choice
	ramp        = span{1, 5}         // s; own choice; longer where steepest asks for it
	sagging     = span{0.16, 0.30}   // inlet's sag at full speed behind a line that is far too small; the limit is 0.10
	tripOfNeed  = span{0.80, 0.93}   // a fallen header, of what the station needs
	tripFor     = span{300, 480}     // s until another compressor has taken over; own choice
	tripRate    = span{2e3, 5e3}     // Pa/s; up to steepest
)

// steepest is the greatest slope of a header's band, Pa/s: where the receiver is small. Each neighbour
// that comes or goes adds up to half of it for some seconds.
const steepest = 5e3

// Governor, port, tank and what follows it. Pressures are shares of set where not said otherwise.
var (
	setOfStall    = span{0.72, 0.86}      // set over where the forces balance at the header's lowest: what leaves speed enough
	setWithReach  = span{0.60, 0.68}      // the same where the inlet sags, or the relief valve must be in reach
	aboveHeader   = 1.1                   // times the header's highest, below which nobody would boost
	hysteresis    = span{0.015, 0.05}     // own choice: what springs and seals of small regulators give
	softBand      = span{0.015, 0.05}     // over which a soft governor closes
	throttleBand  = span{0.05, 0.12}      // the same of one that throttles most of the time
	throttleFeed  = span{0.35, 0.6}       // of the feed, with it
	reopens       = span{0.3, 0.9}        // of the band: where a soft one opens again
	leastOpen     = span{0.05, 0.15}      // own choice
	governorLag   = span{0.05, 1}         // s: a pilot line of centimetres to one of metres with a damper
	overlag       = 0.06                  // of set by which the outlet may rise during the lag; a larger one would lift the relief valve
	setWander     = span{0.5e-3, 4e-3}    // rms, friction and temperature of a spring
	wanderLag     = span{200, 900}        // s; own choice
	portVolume    = span{0.05e-3, 0.5e-3} // m³: manifold and fittings
	hoseShare     = span{1.5, 6}          // dm³/(s·bar), in proportion to the cylinder: hoses of 10 to 20 mm
	usualTank     = span{8e-3, 120e-3}    // m³; common practice, no source: tanks that go with such boosters
	smallTank     = span{1.5e-3, 6e-3}    // m³; what fits beside a machine
	largeTank     = span{150e-3, 500e-3}  // m³; one tank for a hall
	noTank        = span{0.4e-3, 1e-3}    // m³; pipe and hose alone
	piping        = span{0, 0.05}         // by which the space is larger than the tank's name plate
	tankThermal   = span{15, 40}          // s at 10 L, with the cube root of the volume (surface over volume)
	wallHeat      = span{150e3, 400e3}    // J/(K m³): 3 to 5 mm of steel
	wallLag       = span{300, 1200}       // s; still air in a hall
	reliefOfSet   = span{1.12, 1.30}      // common practice, no source: a tenth above set at least
	reliefNear    = span{1.08, 1.12}      // of the set before somebody turns it up
	setTooHigh    = span{1.04, 1.10}      // of the relief valve's setting, after it
	reliefOver    = span{0.02, 0.05}      // to full lift of one that simmers, own choice
	blowdown      = span{0.04, 0.08}      // of one that pops; independent recordings show 4 to 6 %
	reliefFlow    = span{1.3, 3}          // of what the station delivers: it must be able to hold the pressure
	regulatorSet  = span{0.6, 0.8}        // what is boosted is stored above what is used
	regulatorSlow = span{0.2, 2}          // s, one in two; own choice
)

// What the consumers ask for, as a share of what the station delivers at set.
var (
	usualLoad  = span{0.15, 0.6}  // sized with a reserve (common practice, no source)
	heavyLoad  = span{0.95, 1.2}  // of what a line that is too small lets it deliver
	steadyLoad = span{0.3, 0.8}   // of a constant demand
	steadyPart = 0.8              // of a heavy load, which keeps the outlet below set
	meantOff   = span{0.9, 1.1}   // of a constant demand, as people state it: data sheets of nozzles (common practice, no source)
	bothLoad   = span{0.4, 0.8}   // of two boosters together
	lightLoad  = span{0.15, 0.3}  // leaves rests also on a header that has fallen
	work       = span{120, 400}   // s of production between pauses; own choice
	pause      = span{40, 150}    // s; parts are changed, people talk
	long       = span{90, 150}    // s, in which a slow station comes to rest
	quiet      = span{220, 320}   // s, a break in which a leak can be seen: three minutes and more
	peak       = span{1.2, 3}     // of a jet, over what the station delivers; less where the tank would be empty
	refilled   = 0.7              // of what the station delivers, which it does while consumers draw; own choice
	jetOn      = span{0.2, 1.5}   // s; blow guns and ejectors, own choice
	burstFor   = span{3, 10}      // s; a series of strokes of a machine, own choice
	actuateOn  = span{0.3, 1.2}   // s in which a cylinder fills, own choice
	stepEvery  = span{5, 40}      // s; consumers that come and go, own choice
	rhythm     = span{3, 25}      // s from draw to draw; machine cycles, own choice
	leakFlow   = span{25, 90}     // L/min ANR at set; the limit is 15
	leakOfAll  = 0.4              // at most, of what the station delivers
	leakTold   = 20.0             // L/min from which a leak must be told, a third above the limit
	iceDepth   = span{0.2, 0.5}   // of the exhaust's conductance; own choice: a silencer half shut at worst
	iceAir     = span{200, 1000}  // L ANR of the default cylinder; own choice: minutes of strokes
	iceThaw    = span{300, 1200}  // s; own choice: the heat of a silencer of some 100 g against still air
	secondSet  = span{0.5e3, 3e3} // Pa by which the second governor is set higher or lower: people set by gauge
	startEmpty = span{0, 0.5}     // of set, of stations that are first seen filling: vented or left over a weekend
	onset      = span{300, 540}   // s after the start: the analyzer has seen the station sound by then
	grace      = span{120, 300}   // s that the plate allows before pressure left is an alarm
	halfAnHour = span{900, 1800}  // s of a recording, 15 to 30 minutes: several pauses and periods of the header
)

// Sensors and climate.
var (
	usualNoise = span{200, 800}      // Pa rms: 0.01 to 0.05 % of 1.6 MPa
	loudNoise  = span{1e3, 2.5e3}    // cables beside drives
	sensorLag  = span{1e-3, 20e-3}   // s: damping of industrial transmitters
	sensorOff  = span{-500, 500}     // Pa: 0.03 % of 1.6 MPa
	jitter     = span{0, 0.2}        // of a step: stamps by a scheduler
	misses     = span{0.25, 0.4}     // of a counter's switch; a mismatch beyond 15 % is an alarm
	bounces    = span{0.3, 0.5}      // the same
	room       = span{283, 303}      // K: 10 to 30 °C
	cold       = span{263, 283}      // K: -10 to 10 °C, an unheated hall
	hot        = span{303, 313}      // K: 30 to 40 °C, beside compressors
	atmosphere = span{97e3, 103.5e3} // Pa: weather and some 300 m
)

var (
	usualRates  = []float64{20, 25, 50, 100}                                // Hz
	resolutions = []float64{1.6e6 / 4096, 1.6e6 / 16384, 2.5e6 / 4096, 100} // Pa: 12 and 14 bits of usual ranges, 0.1 kPa
)
