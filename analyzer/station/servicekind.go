package station

// ServiceKind is a kind of service that can come due.
type ServiceKind uint8

// The kinds.
const (
	NoService      ServiceKind = iota
	TankInspection             // the inspection that the tank's certificate asks for
	ReliefTest
	HoseReplacement
	DrainService
	FilterElement
	SilencerService
	SensorCalibration
	Overhaul
	SealReplacement
	BoosterReplacement
	SensorReplacement
	NumServices
)

// services hold the name of a kind in the configuration, the log and the history, and its words
// for people; after a service that renews, figures of before are those of another machine. A
// kind more is a row here.
var services = [NumServices]struct {
	name, words string
	renews      bool
}{
	TankInspection:     {"tank-inspection", "inspection of the tank", false},
	ReliefTest:         {"relief-test", "test of the relief valve", false},
	HoseReplacement:    {"hose", "replacement of hoses", false},
	DrainService:       {"drain", "condensate drain", false},
	FilterElement:      {"filter", "filter element", false},
	SilencerService:    {"silencer", "silencer", false},
	SensorCalibration:  {"sensor-calibration", "calibration of sensors", true},
	Overhaul:           {"overhaul", "overhaul of the booster", true},
	SealReplacement:    {"seals", "replacement of seals", true},
	BoosterReplacement: {"booster", "replacement of the booster", true},
	SensorReplacement:  {"sensor", "replacement of a sensor", true},
}

// ServiceKinds returns what can come due.
func ServiceKinds() []ServiceKind {
	all := make([]ServiceKind, 0, NumServices-1)
	for k := TankInspection; k < NumServices; k++ {
		all = append(all, k)
	}
	return all
}

// String returns the kind's name, "" for NoService.
func (k ServiceKind) String() string { return services[k%NumServices].name }

// Words returns the kind as people read it.
func (k ServiceKind) Words() string { return services[k%NumServices].words }

// Renews reports whether figures begin anew after the service.
func (k ServiceKind) Renews() bool { return services[k%NumServices].renews }

// ParseService returns the kind of a name, false if there is none of that name.
func ParseService(name string) (ServiceKind, bool) {
	for k := TankInspection; k < NumServices; k++ {
		if services[k].name == name {
			return k, true
		}
	}
	return NoService, false
}

// MarshalText returns the kind's name.
func (k ServiceKind) MarshalText() ([]byte, error) { return []byte(k.String()), nil }

// UnmarshalText sets the kind of a name, NoService for one that this program does not know.
func (k *ServiceKind) UnmarshalText(name []byte) error {
	*k, _ = ParseService(string(name))
	return nil
}
