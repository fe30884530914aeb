package station

// ShutdownSource is what showed that a station's supply is closed.
type ShutdownSource uint8

// The sources.
const (
	NoShutdown ShutdownSource = iota
	ByValve                   // the valve's own signal
	ByInlet                   // the inlet's pressure
	ByCalendar                // the calendar: the shift is over
)

var shutdownSources = [...]string{"", "valve", "inlet", "calendar"}

// String returns the source's name in outputs, "" for none.
func (s ShutdownSource) String() string {
	if int(s) < len(shutdownSources) {
		return shutdownSources[s]
	}
	return ""
}
