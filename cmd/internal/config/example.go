package config

// examples gives for each key of a quantity a value that makes sense there.
var examples = map[string]string{
	"lateness": "2 s", "every": "1 min", "unacknowledged": "15 min", "keep": "48 h", "max_bytes": "20 GB", "max_packet": "1 MiB", "minutes": "90 d", "hours": "5 y",
	"specific_energy": "0.12 kWh/m3", "price": "0.18 EUR/kWh", "co2": "0.30 kg/kWh",
	"ambient_pressure": "98 kPa abs", "air_temperature": "20 C", "regulator_set": "700 kPa", "required_pressure": "650 kPa", "base_demand": "40 L/min", "drive_regulator": "400 kPa",
	"shutdown_grace": "5 min", "max_stroke_rate": "2 /s",
	"drive_bore": "63 mm", "boost_bore": "63 mm", "rod": "16 mm", "stroke": "60 mm", "set_pressure": "900 kPa",
	"swept_drive": "0.19 L", "swept_boost": "0.18 L",
	"volume": "20 L", "relief_pressure": "1100 kPa", "ps": "1100 kPa",
	"bore": "9 mm", "length": "12 m",
	"after_shift_grace": "30 min",
	"hose":              "1200 kPa", "leak": "15 L/min", "sag": "10 %", "silence": "30 s",
	"share": "30 %", "hold_off": "10 s", "idle": "1 h", "longest": "12 h",
}

const (
	listenExample = "listen: 127.0.0.1:8420"
	topicExample  = `{ match: "boost/{site}/{station}/{channel}" }`
	topicsExample = "topics: [" + topicExample + "]"
	matchExample  = "boost/{site}/{station}/{channel}"
)
