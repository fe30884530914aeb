package config

import (
	"strings"
	"testing"
)

// A file without stations is a beginning: it is taken with a warning, and needs no broker and no site. One
// with a station needs both.
func TestAFileWithoutStations(t *testing.T) {
	for _, text := range []string{"version: 1", "version: 1\nstations:", "version: 1\nstations: []\ndata: /tmp/x"} {
		c, err := Parse([]byte(text), "x.yaml", live)
		if err != nil || len(c.Stations) != 0 || c.MQTT.Broker != "" || len(c.Warnings) != 1 || !strings.Contains(c.Warnings[0].Problem, "nothing is watched") {
			t.Errorf("%q: %v, %+v", text, err, c)
		}
	}
	for text, want := range map[string]string{
		"version: 1\nstations: [{id: a}]":                      "mqtt: is missing",
		"version: 1\nmqtt: {}":                                 "mqtt.broker: is missing",
		"version: 1\nstation: [{id: a}]":                       "unknown key (did you mean stations?)",
		"version: 1\nstations: {id: a}":                        "is a mapping",
		"version: 1\nmqtt: {broker: embedded}\nstations: null": "mqtt.topics: names no topic",
	} {
		if _, err := Parse([]byte(text), "x.yaml", live); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v, want %q", text, err, want)
		}
	}
}
