package config

import (
	"os"
	"strings"
	"testing"

	"strokewise/analyzer/station"
)

const mappedTopics = `version: 1
mqtt:
  broker: tcp://127.0.0.1:1883
  topics:
    - match: hall2/mach-{station}/state
      payload: json
      site: northdock
      decimal: comma
      time: { at: /ts, unit: ms }
      values:
        - { at: /ai/3, channel: outlet_pressure, loop: [0, 27648], span: [0 bar, 16 bar] }
        - { at: /in, channel: inlet_pressure, factor: 0.1, offset: -1, unit: bar }
    - match: hall2/list
      payload: json
      station: /machine
      each: ""
      name_at: /id
      value_at: /val
      names: "{station}.{channel}"
    - { match: "{site}/gw/{station}", payload: sparkplug, ask_births: false }
    - { match: lines/hall2, payload: line, station: /tags/machine }
    - { match: "raw/{station}", channel: outlet_pressure, values: [{ counts: [0, 4095], span: [-1 bar, 9 bar] }] }
    - { match: "open/{station}/{channel}", payload: block, ignore: [rssi] }
sites: [{ id: northdock }]
stations: [{ id: press-4 }]
`

func TestMappings(t *testing.T) {
	c, err := Parse([]byte(mappedTopics), "x.yaml", live)
	if err != nil {
		t.Fatal(err)
	}
	topics := c.MQTT.Topics
	if len(topics) != 6 {
		t.Fatalf("%d topics", len(topics))
	}
	m := topics[0].Mapping
	if m.Site.Fixed != "northdock" || !m.Comma || m.Time.At.String() != "/ts" || len(m.Values) != 2 {
		t.Errorf("got %+v", m)
	}
	if s := m.Values[0].Scale; !s.Loop || s.High != 27648 || s.To != 16e5 || m.Values[0].Channel != station.OutletPressure {
		t.Errorf("got %+v", s)
	}
	if s := m.Values[1].Scale; s.Factor != 0.1 || s.Offset != -1 || s.Unit != "bar" {
		t.Errorf("got %+v", s)
	}
	if m := topics[1].Mapping; m.Each == nil || m.Each.String() != "" || m.Name.String() != "/id" || !m.Names.HasStation() || m.Station.At.String() != "/machine" {
		t.Errorf("got %+v", m)
	}
	if !topics[2].Mapping.Mute || topics[3].Mapping.Station.At == nil || topics[5].Mapping.Ignore[0] != "rssi" {
		t.Error("sparkplug, line or block")
	}
	if s := topics[4].Mapping.Scales(); s == nil || s[station.OutletPressure].From != -1e5 || s[station.OutletPressure].Loop {
		t.Errorf("got %+v", s)
	}
}

// Every key that says what payloads mean is in the table of the page on payloads.
func TestMappingKeysAreDocumented(t *testing.T) {
	readme, err := os.ReadFile("../../../deploy/docs/payloads.md")
	if err != nil {
		t.Fatal(err)
	}
	for _, k := range mappingKeys {
		if line := "| `" + k.key + "` | " + k.about + " |"; !strings.Contains(string(readme), line) {
			t.Errorf("the table lacks the line\n%s", line)
		}
	}
}
