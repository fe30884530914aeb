package config

import "reflect"

// Anew names the keys that differ from was and for which the runtime has to begin anew. The others, stations
// with all their plate data, alarms and lateness, can be put in force while it runs.
func (c *Config) Anew(was *Config) []string {
	var out []string
	for _, k := range []struct {
		name string
		a, b any
	}{
		{"http", c.HTTP, was.HTTP}, {"mqtt", c.MQTT, was.MQTT}, {"data", c.Data, was.Data}, {"log", c.Log, was.Log}, {"refused", c.Refused, was.Refused},
		{"history", c.History, was.History}, {"influx", c.Influx, was.Influx}, {"sites", c.Sites, was.Sites}, {"notify", c.Notify, was.Notify},
	} {
		if !reflect.DeepEqual(k.a, k.b) {
			out = append(out, k.name)
		}
	}
	return out
}
