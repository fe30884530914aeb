package main

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"strokewise/cmd/internal/config"
)

// What check says about the log, for stations of 845 bytes a second each (220 bytes a message, 2.5 a
// pressure, 1.25 a count, at 100 Hz; TestBytesOfSamples measures them), in nine tenths of max_bytes.
func TestCheckComputesHowLongTheLogLasts(t *testing.T) {
	configuration := func(stations, onChange int, log string) *config.Config {
		var b strings.Builder
		fmt.Fprintf(&b, "version: 1\nlog: %s\nmqtt: { broker: embedded, topics: [{ match: 'boost/{site}/{station}/{channel}' }] }\nsites: [{ id: northdock, zone: Europe/Lisbon }]\nstations:\n", log)
		for i := range stations + onChange {
			cadence := "periodic"
			if i >= stations {
				cadence = "on_change"
			}
			fmt.Fprintf(&b, "- { id: press-%d, cadence: %s }\n", i, cadence)
		}
		cfg, err := config.Parse([]byte(b.String()), "plant.yaml", config.Options{})
		if err != nil {
			t.Fatal(err)
		}
		return cfg
	}
	for _, c := range []struct {
		stations, onChange int
		log                string
		warns, says        string
	}{
		// 0.9 x 20 GB / (100 x 845 B/s) = 59.2 h
		{100, 0, "{ keep: 48h, max_bytes: 20 GB }", "", "304 MB an hour from 100 stations; 20 GB reaches back 59 h"},
		// 0.9 x 20 GB / (200 x 845 B/s) = 29.6 h; 48 h x 169 kB/s / 0.9 = 32.4 GB; (0.9 x 20 GB / 48 h / 200 - 220) / 6.25 = 48 Hz
		{200, 0, "{ keep: 48h, max_bytes: 20 GB }", "20 GB reaches back 29 h, and log.keep asks for 48 h: what is older is analysed and dropped for room. Set max_bytes: 33 GB, or keep: 29 h. It is enough for channels of up to 48 Hz", "20 GB reaches back 29 h"},
		{100, 100, "{ keep: 48h, max_bytes: 20 GB }", "", "59 h; 100 stations that publish on change are not counted"},
		// 0.9 x 17 MB / 845 B/s = 5 h
		{1, 0, "{ keep: 48h, max_bytes: 17 MB }", "17 MB reaches back 5 h", "3.04 MB an hour from 1 stations"},
	} {
		var out strings.Builder
		if err := logLasts(&out, configuration(c.stations, c.onChange, c.log)); err != nil {
			t.Fatal(err)
		}
		warned := strings.Contains(out.String(), "odd, but taken: log.max_bytes: "+c.warns) && c.warns != ""
		if warned != (c.warns != "") || strings.Contains(out.String(), "odd") != warned || !strings.Contains(out.String(), c.says) {
			t.Errorf("%d stations, %s: %s", c.stations, c.log, out.String())
		}
	}
	if got := hours(90*time.Minute) + ", " + hours(30*time.Minute); got != "1 h, 30 min" {
		t.Error(got)
	}
}
