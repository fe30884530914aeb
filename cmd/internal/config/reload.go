package config

import "reflect"

// Restart names the keys that differ from was and take effect only at a start. The others,
// stations with all their plate data and lateness, can be put in force while running.
func (c *Config) Restart(was *Config) []string {
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
