package draw

import "math/rand/v2"

// mechanic is how a governor works.
type mechanic uint8

const (
	snaps mechanic = iota
	soft
	throttles
	fixedRatio // there is none
)

// plan is what a station is drawn from. A kind of station starts from usual and changes what it is
// about.
type plan struct {
	sides     span
	calm      bool // the header
	line      bool // the line is wide enough
	setShare  span
	mechanics []mechanic
	tank      span
	port      float64 // chance of a hose to the tank with the sensor in front of it
	relief    span
	pops      float64 // chance of a relief valve that pops
	load      span
	kinds     []consumption
	steady    float64 // share of the load that never changes
	odd       bool    // ratios beside 2 and 4
	work      span
	pause     span // of zero length: none
	empty     float64
	rates     []float64
	noise     span
	gaps      float64 // chance
	climates  []span
	ices      bool
	second    bool
}

// usual returns the plan of a station with nothing out of the ordinary.
func usual() plan {
	return plan{
		sides: alikeSides, calm: true, line: true, setShare: setOfStall,
		mechanics: []mechanic{snaps, snaps, soft, soft, throttles}, tank: usualTank, port: 0.3,
		relief: reliefOfSet, pops: 0.5, load: usualLoad, kinds: []consumption{changing, jets, bursts, cylinders}, odd: true,
		work: work, pause: pause, empty: 0.15, rates: usualRates, noise: usualNoise, gaps: 0.15, climates: []span{room},
	}
}

// drawer draws one station.
type drawer struct {
	*rand.Rand
	plan
	Case
	ratio float64 // gauge ratio of the forces, 1 plus drive over boost area
	boost float64 // swept boost volume over the default cylinder's, 1
	drive float64 // swept drive volume over the default cylinder's, 1
	can   trial   // what it can do
	seed  uint64
}

// draw draws all aspects in an order in which each finds what it depends on.
func (d *drawer) draw() {
	d.Seconds = int64(halfAnHour.even(d.Rand))
	d.cylinder()
	d.unevenness()
	d.climateOf()
	d.supply()
	d.header()
	d.governor()
	d.tanks()
	d.outletPort()
	d.icing()
	d.boosters()
	d.narrow()
	d.can = try(&d.Spec)
	d.lagging()
	d.reliefValve()
	d.regulator()
	d.consumers()
	d.sensing()
	d.start()
}
