package station

// Learned is what a station's analysis has learned over hours to weeks, apart from its working
// state: a later version begins with it. Units are SI. Zero values mean: not learned. Each field
// has its number in learned.proto of cmd/internal/learned, under the same name.
type Learned struct {
	At       Instant // newest step
	Figures  []LearnedFigure
	Booster  LearnedBooster
	Supply   LearnedSupply
	Line     LearnedLine
	Work     LearnedWork
	Air      LearnedAir
	Meter    LearnedMeter
	Delivery LearnedDelivery
	Leak     LearnedLeak
	Draw     LearnedDraw
	Sensors  LearnedSensors
	Use      LearnedUse
	Like     LearnedLike
}

// LearnedFigure is a figure as it was last obtained, with its age. Names are those of Figures and
// of methods: their order may change.
type LearnedFigure struct {
	Name             string
	Method           string
	Value, Low, High float64
	Confidence       float64
	From, At         Instant
}

// LearnedBooster is whose figures these are, by the plate, and what that booster has worked.
type LearnedBooster struct {
	Serial, Overhauled string
	Tank               float64 // m³, of the plate
	Branch             bool    // the outlet sensor is behind the regulator
	WatchedFrom        Instant
	Strokes            int64 // since then
}

// Baseline is a usual value: by medians of blocks of readings, the newest block open.
type Baseline struct {
	Recent, Usual float64 // median of the last block; what is usual
	Blocks        int64
	Readings      []float64 // of the open block
	From, Next    Instant   // its first reading; before which none is taken
}

// LearnedSupply is what the inlet has shown.
type LearnedSupply struct {
	Rest        float64 // pressure at rest, Pa gauge
	RestAt      Instant
	Peak        float64 // highest pressure, Pa gauge
	Moved       float64 // share of rests in which the header had moved
	Moves       float64 // of so many
	Sag         float64 // integral of the sag, share of the pressure at rest, s
	SagSeconds  float64
	Rested      float64 // s of them with a pressure at rest
	Swing       float64 // of a run over its sag
	Conductance float64 // C/sqrt(1-b) of the line, m³/(s·Pa) ANR
	Strokes     float64 // that it was learned from; no longer written
	StrokeAir   float64 // of one of them, m³ ANR; no longer written
	HeaderSag   float64 // integral of the header's share of the sag, s
	LineSag     float64 // integral of the line's share of the sag, s
	Seconds     float64 // of both
	RunInlet    float64 // of usual runs: inlet, Pa gauge
	RunFlow     float64 // strokes/s times Pa abs
	RunSwing    float64 // mean range within half a second, Pa
	RunWide     float64 // range of a run, Pa
	Runs        int64
	Deviation   float64 // standard deviation of Conductance, share of it; 0: not known
	Slew        float64 // mean square slope of the header at rest, (Pa/s)²
}

// LearnedLine is the history of the supply line's conductance.
type LearnedLine struct {
	Base  Baseline
	Days  []int64   // since 1970
	Means []float64 // of these days
	Today int64
	Sum   float64 // of today's readings
	Count int64
}

// LearnedWork is how the booster works.
type LearnedWork struct {
	StrokeTime    Baseline
	Outlet        float64 // mean while it works, Pa gauge
	Inlet         float64 // while it works, Pa gauge
	InletAt       Instant
	Friction      float64 // over boost area, Pa
	Set           float64 // learned set pressure, Pa gauge
	PlateSet      float64 // of the plate that Ends belong to, Pa gauge
	Ends          Baseline
	CutIn         float64 // outlet at which the governor lets the piston start, Pa gauge
	CutIns        int64
	DeepCutIn     float64 // the same far below set
	DeepCutIns    int64
	DeepKnown     bool
	FastestStroke float64 // s, at the usual load
}

// LearnedAir is the air of a stroke.
type LearnedAir struct {
	Efficiency     float64 // measured over assumed volumetric efficiency
	EfficiencyBand float64 // relative half-width of its 90 % band
	Loss           float64 // suction loss of the strokes that taught it
	Metered        bool
	Drive          []float64 // law of the drive pressure, by a meter
	Spread         []float64 // its covariance, by rows
	MeterBand      float64
	MeterEta       float64 // Efficiency at that time
	Away           bool    // the station works where the meter has not seen it
	Boost, Exhaust float64 // L ANR a stroke, of late
	BoostBand      float64 // half-widths
	ExhaustBand    float64
	Strokes        float64 // weight of these means
}

// LearnedMeter is the last loan of a flow meter.
type LearnedMeter struct {
	From, At          Instant
	Windows           int64
	Metered, Computed float64   // L ANR
	Precision         []float64 // of the drive law, by rows
	Moment            []float64
	Efficiency        float64
	SeenLow, SeenHigh []float64 // Pa abs, Pa abs, s
	UsedLow, UsedHigh []float64 // of the calibration in use
}

// LearnedDelivery is what quiet recharges have taught.
type LearnedDelivery struct {
	Tank         float64 // m³, learned
	Share        float64 // measured over assumed efficiency
	Scale        float64 // what the share was taken as, over the share
	Base         Baseline
	Line         []float64 // sums of efficiency over (p2/p1)^(1/kappa) - 1: N, W, F, E, FF, FE, EE
	CoolLeft     []float64 // of a standing tank, by time constant: residuals,
	CoolRate     []float64 // rates, 1/s,
	CoolRateSq   []float64 // and their squares
	Stands       float64
	CoolingTimes float64 // points of these stands
}

// LearnedLeak is the leak and its history.
type LearnedLeak struct {
	Decay, Makeup, Joined LearnedFigure // conductance, m³/(s·Pa)
	Shape                 int64         // 0 either, 1 exponential, 2 straight
	Less, Inside          bool          // less than the strokes deliver; the rest is lost in the booster
	Past                  []LeakPoint
	Taken, Onset          Instant
	Hours                 []LeakHour
}

// LeakPoint is an earlier leak: conductance and its standard error, m³/(s·Pa).
type LeakPoint struct {
	At           Instant
	Value, Sigma float64
}

// LeakHour is the least that was drawn in an hour, m³/s ANR.
type LeakHour struct {
	Hour                 int64 // since 1970
	At                   Instant
	Flow, Stored, Missed float64
	Stood                float64 // s
}

// LearnedDraw is what the branch usually takes.
type LearnedDraw struct {
	Bare       bool      // by the outlet's fall alone, 1/s
	Top        float64   // highest usual draw over pressure, m³/(s·Pa)
	Fed        float64   // s in which that was learned
	Floor      float64   // highest usual steady draw, m³/s ANR
	FloorKnown int64     // minutes with one
	FloorParts []float64 // of the present and the last half day
	FloorPart  int64     // number of the present one
	Steady     float64   // highest draw without a pause that ended, m³/s ANR
	SteadyPeak float64   // of the present stretch
	SteadySeen float64   // s
}

// LearnedSensors is what vented and resting moments have shown of the sensors.
type LearnedSensors struct {
	InletZero, OutletZero LearnedZero
	OffsetDay             Instant
	OffsetHigh, OffsetLow float64 // Pa, of that day
	HighSeen, LowSeen     bool
	BeforeHigh, BeforeLow float64 // of the day before
	HighBefore, LowBefore bool    // which is known
}

// LearnedZero is a sensor's zero: first and last, Pa gauge.
type LearnedZero struct {
	First, At       Instant
	Earliest, Value float64
}

// LearnedUse is what looked like a leak and ended by itself.
type LearnedUse struct {
	Most    float64 // m³/s ANR
	For     int64   // longest, ns
	At      Instant // when the last one ended
	Reached bool    // the outlet was ever at set
}

// LearnedLike is how many strokes the hours of like days have.
type LearnedLike struct {
	Of      string  // what of the plate they belong to
	Counted bool    // by the counter
	Step    float64 // by which the strokes of an hour rose, 0: no step stands
	Since   Instant // when it began
	Slots   []LearnedSlot
}

// LearnedSlot is one hour of the day on like days.
type LearnedSlot struct {
	Slot  int64   // hour of the site's clock, with 24 added where a shift runs then
	Rates []int64 // strokes in the hour, oldest day first
}
