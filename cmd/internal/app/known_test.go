package app

import (
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync"
	"testing"
	"time"

	"strokewise/analyzer/station"
	"strokewise/deploy/peers"
)

// ownAlarm is an alarm of a site's own, as the configuration puts it into the plate.
const ownAlarm = `
- name: inlet-warm-line
  priority: medium
  condition: inlet_pressure > 500 * kPa
  delay: 0s
  message: "The inlet reads {inlet_pressure gauge}."
  over: "The inlet is low."
  evidence: [inlet_pressure]
  consequence: The old hose softens.
  causes: [the dryer's bypass is open]
  check_first: Look at the bypass.
  respond_in: this shift
  caution: "The line is charged. By the site's procedure, by people who are allowed to; local codes govern."
  runbook: Close the bypass by hand.
`

// Who is told of an alarm that a site has made itself is told the site's causes, what to check first and
// the runbook.
func TestAnOwnAlarmIsToldWithItsCauses(t *testing.T) {
	var mu sync.Mutex
	var told strings.Builder
	srv := httptest.NewServer(http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) {
		b, _ := io.ReadAll(r.Body)
		mu.Lock()
		told.Write(b)
		mu.Unlock()
	}))
	defer srv.Close()
	o := massPlant(t, peers.Mosquitto(t).Addr, srv.URL, 1)
	o.Stations[0].Plate.Alarms = ownAlarm
	a, stop := running(t, o)
	defer stop()
	f := &feeder{t: t, a: a, start: station.InstantOf(time.Now()).Floor(station.Second)}
	f.seconds(30, func(int, int) moment { return moment{600e3, 895e3, 1} })
	text := func() string { mu.Lock(); defer mu.Unlock(); return told.String() }
	waitFor(t, "the alarm", func() bool { return strings.Contains(text(), "inlet-warm-line") })
	for _, want := range []string{"The old hose softens.", "the dryer's bypass is open", "Look at the bypass.", "this shift", "Close the bypass by hand."} {
		if !strings.Contains(text(), want) {
			t.Errorf("no %q in %s", want, text())
		}
	}
}
