package main

import (
	"testing"
	"time"

	"strokewise/analyzer/station"
	"strokewise/rules"
)

// The shifts of the configuration decide, by the site's clock, also on the day on which the
// clocks go forward.
func TestRoutesOfAConfiguration(t *testing.T) {
	cfg, err := load(write(t, "c.yaml", `version: 1
mqtt: { broker: tcp://127.0.0.1:1883, topics: [{ match: "boost/{site}/{station}/{channel}" }] }
notify:
  webhook: [{ name: shift, url: "https://h/" }, { name: on-call, url: "https://h/" }, { name: boss, url: "https://h/" }]
  routes:
    - { when: shift, to: [shift] }
    - { when: outside-shift, to: [on-call] }
    - { priorities: [high], unacknowledged: 15 min, to: [boss] }
  maintenance: [{ from: "2026-03-30 08:00", to: "2026-03-30 12:00", reason: filters }]
sites: [{ id: northdock, zone: Europe/Berlin, shifts: [{ days: mon-sun, from: "06:00", to: "22:00" }] }]
stations: [{ id: press-4 }]
`), false)
	if err != nil {
		t.Fatal(err)
	}
	r := routesOf(cfg)
	r.Zones = map[string]*time.Location{"northdock": cfg.Sites[0].Zone}
	for at, want := range map[string]string{
		"2026-03-28T05:30:00Z": "shift", "2026-03-28T04:30:00Z": "on-call", "2026-03-29T04:30:00Z": "shift", "2026-03-29T20:30:00Z": "on-call",
		"2026-03-30T07:00:00Z": "", // within maintenance
	} {
		now, err := time.Parse(time.RFC3339, at)
		if err != nil {
			t.Fatal(err)
		}
		x := rules.Transition{Key: station.Key{Site: "northdock", Station: "press-4"}, Alarm: rules.PressureLeft, Priority: rules.High,
			To: rules.Unacknowledged, At: station.InstantOf(now), Raised: station.InstantOf(now)}
		for _, who := range []string{"shift", "on-call"} {
			if got := r.Decide(who, &x, now, &x).Send; got != (who == want) {
				t.Errorf("at %s %s is told: %v", at, who, got)
			}
		}
		if v := r.Decide("boss", &x, now, &x); v.Send || v.Wait.Sub(now) != 15*time.Minute {
			t.Errorf("at %s the boss: %+v", at, v)
		}
	}
	cfg.Notify.Routes, cfg.Notify.Maintenance = nil, nil
	if routesOf(cfg) != nil {
		t.Error("routes of nothing")
	}
}
