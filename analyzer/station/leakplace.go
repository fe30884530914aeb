package station

// LeakPlace is where an outlet loses air.
type LeakPlace uint8

// The places.
const (
	PlaceUnknown    LeakPlace = iota
	PastCheckValves           // back into the closed inlet
	BeforeRegulator           // the fall follows the pressure
	BehindRegulator           // the fall is straight
)

var leakPlaces = [...]string{"", "back through the check valves: the closed inlet rises above the pressure at which it rested",
	"in front of the regulator: the fall follows the pressure", "behind the regulator: the fall is straight"}

// String returns the place as people read it, "" for PlaceUnknown.
func (p LeakPlace) String() string {
	if int(p) < len(leakPlaces) {
		return leakPlaces[p]
	}
	return ""
}
