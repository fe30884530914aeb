package engine

import (
	"math"

	"strokewise/analyzer/air"
	"strokewise/analyzer/station"
)

const (
	// mostLine is the volume, m³, that a closed supply line may hold where the plate does not say more:
	// a small receiver before the booster. Own choice, no source. A third more asks for a third
	// more strokes.
	mostLine = 20e-3
	// lineOverPlate is how many times the volume of the plate's bore and length it may hold: filter,
	// valve and couplings. Own choice, no source.
	lineOverPlate = 3
	// leastShare is the share of a closed line's air that a stroke draws at least, where the swept volume is
	// not known: 0.18 L out of mostLine.
	leastShare = 0.009
	// provenStrokes and provenCounts are how many strokes, and increments of the counter, prove feed at
	// least. The stroke under way at the closing and the next one may live on the line; a contact that
	// bounces once adds one increment.
	provenStrokes, provenCounts = 4, 3
	// provenLift is the rise of ln p that no warming explains, summed, that proves feed: 5 %. A sensor at
	// a port sees a few per cent of dynamic pressure come and go. Own choice, no source.
	provenLift = 0.05
)

// fedProof decides whether a station whose inlet is low is fed all the same. Two balances tell.
//
// Of the inlet: a closed line holds one volume of air, and each stroke takes at least its boost
// chamber's share of it, so after n strokes
//
//	p1 <= p1_0 (1 - V_b/(V_b + V_line))^n   (absolute)
//
// Strokes that go on at a higher inlet are fed.
//
// Of the tank: nothing enters the tank of a closed station. A fall cools its air by (kappa-1)/kappa of
// the fall of ln p at most, and the wall gives back no more than that. A rise beyond it is
// delivered air. Fields are exported for snapshots only.
type fedProof struct {
	Level   float64 // lowest inlet, Pa gauge, at which feed was proven since the inlet was near its rest, 0: none
	From    float64 // inlet, Pa gauge, at which the present low stretch began, 0: it is not low
	Strokes int     // counted since
	Counts  int     // increments of the counter since
	At      float64 // outlet, Pa abs, up to which its moves are taken
	Cold    float64 // share by which the tank's air may be colder than its wall
	Lift    float64 // rise of ln p that no warming explains
}

// usualRest returns the inlet, Pa gauge, of a fed station that stands: at rest, or as low as feed was proven.
func (e *Engine) usualRest() float64 {
	if l := e.Proof.Level; l > 0 && l < e.Supply.Rest {
		return l
	}
	return e.Supply.Rest
}

// proveFed follows the two balances through the slot, and reports whether feed is proven.
func (e *Engine) proveFed() bool {
	f, p1, rest := &e.Proof, e.Inlet.Mean, e.Supply.Rest
	if p1 > (1+fedShare)/2*rest {
		f.Level = 0
	}
	if e.Inlet.N == 0 || e.Outlet.N == 0 || e.Doubt.Who != 0 {
		return false
	}
	if rest == 0 || p1 >= fedShare*e.usualRest() || p1 < e.lowInlet() {
		*f = fedProof{Level: f.Level}
		return false
	}
	if f.From == 0 {
		f.begin(p1, float64(e.outletAbs()), e.set()+float64(e.Plate.AmbientPressure()))
	}
	f.tank(float64(e.outletAbs()), max(2e3, 6*e.Ends.Out.Noise()/math.Sqrt(float64(e.Outlet.N))))
	if !e.lineFeeds() && (f.Lift < provenLift || e.Plate.Sensor == station.AtBranch) {
		return false
	}
	*f = fedProof{Level: e.Inlet.High}
	return true
}

// begin begins a low stretch with the outlet at p2, Pa abs. The tank was drawn down from its set pressure
// at most, 0 Pa gauge where that is not known.
func (f *fedProof) begin(p1, p2, set float64) {
	*f = fedProof{Level: f.Level, From: p1, At: p2}
	f.Cold = cooling * max(0, math.Log(set/p2))
}

// cooling is by how much a fall of ln p cools air that exchanges no heat.
const cooling = (air.Kappa - 1) / air.Kappa

// tank follows the outlet, Pa abs. Moves of less than least, Pa, wait until they are more: noise would
// add up.
func (f *fedProof) tank(p, least float64) {
	if math.Abs(p-f.At) < least || p <= 0 {
		return
	}
	d := math.Log(p / f.At)
	f.At = p
	if d < 0 {
		f.Cold -= cooling * d
		return
	}
	f.Cold -= d
	f.Lift -= min(0, f.Cold)
	f.Cold = max(0, f.Cold)
}

// lineFeeds reports whether the strokes of the low stretch took more than a closed line holds.
func (e *Engine) lineFeeds() bool {
	f := &e.Proof
	if f.Strokes < provenStrokes || f.Counts < provenCounts {
		return false
	}
	amb := float64(e.Plate.AmbientPressure())
	closed := (f.From+amb)*math.Pow(1-e.strokeShare(), float64(f.Strokes-1)) - amb // one may have begun before
	return e.Inlet.High > closed+4*e.Ends.In.Noise()
}

// strokeShare returns the share of a closed line's air that a stroke takes at least.
func (e *Engine) strokeShare() float64 {
	p := &e.Plate
	if p.SweptBoost <= 0 {
		return leastShare
	}
	line := mostLine
	if p.SupplyBore > 0 && p.SupplyLength > 0 {
		line = max(line, lineOverPlate*math.Pi/4*p.SupplyBore*p.SupplyBore*p.SupplyLength)
	}
	return p.SweptBoost / (p.SweptBoost + line)
}

// counted adds strokes that the counter told of in the low stretch.
func (f *fedProof) counted(strokes int64) {
	if f.From != 0 {
		f.Strokes += int(strokes)
		f.Counts++
	}
}
