package station

// Channel is one measured quantity of a station.
type Channel uint8

// The channels. Their numbers are part of the log format.
const (
	InletPressure   Channel = iota // Pa gauge at the booster inlet
	OutletPressure                 // Pa gauge at the outlet or tank
	Cycles                         // count of cycles or strokes, see Plate.Counts
	SupplyOpen                     // 1 open, 0 closed
	HeaderPressure                 // Pa gauge before the supply line
	TankTemperature                // K
	InletFlow                      // m³/s at ANR
	NumChannels
)

var channelNames = [NumChannels]string{
	"inlet_pressure", "outlet_pressure", "cycles", "supply_open",
	"header_pressure", "tank_temperature", "inlet_flow",
}

// String gives the channel's name in topics, payloads and traces.
func (c Channel) String() string {
	if c < NumChannels {
		return channelNames[c]
	}
	return "unknown"
}

// IsPressure tells whether the channel carries a gauge pressure.
func (c Channel) IsPressure() bool {
	return c == InletPressure || c == OutletPressure || c == HeaderPressure
}

// ParseChannel finds a channel by its name.
func ParseChannel(name string) (Channel, bool) {
	for i, n := range channelNames {
		if n == name {
			return Channel(i), true
		}
	}
	return NumChannels, false
}

// ChannelNames lists the names in order, for messages.
func ChannelNames() []string { return append([]string(nil), channelNames[:]...) }

// SI converts a plain number of the channel, as payloads and recordings without a unit
// carry it, to SI: pressures (gauge) times pressureUnit (Pa), temperatures from °C, flows
// from L/min at ANR; counts and states as they are.
func (c Channel) SI(v, pressureUnit float64) float64 {
	switch {
	case c.IsPressure():
		return v * pressureUnit
	case c == TankTemperature:
		return v + 273.15
	case c == InletFlow:
		return v / 60e3
	}
	return v
}
