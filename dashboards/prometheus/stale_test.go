package prometheus

import (
	"net/http/httptest"
	"testing"

	"strokewise/dashboards/board"
	"strokewise/deploy/peers"
)

// In a real Prometheus the figures of a station that falls silent end at once, and do not stand for the five minutes that
// a series is looked back for; totals and alarms stand, and the silence is told.
func TestFiguresOfASilentStationEnd(t *testing.T) {
	b := board.New()
	b.Put(press())
	b.SetReady(true)
	h, err := Handler(Options{Board: b}, nil)
	if err != nil {
		t.Fatal(err)
	}
	srv := httptest.NewServer(h)
	defer srv.Close()
	prom := peers.Prometheus(t, srv.Listener.Addr().String())
	answered(t, prom.Addr, []string{"strokewise_leak_flow_cubic_meters_per_second", "strokewise_outlet_pressure_pascals", "strokewise_duty_ratio"})
	s := press()
	s.SilentSince = noon
	b.Put(s)
	answered(t, prom.Addr, []string{"strokewise_silent == 1"})
	for _, name := range []string{"strokewise_leak_flow_cubic_meters_per_second", "strokewise_outlet_pressure_pascals", "strokewise_duty_ratio"} {
		if n, fault := instant(t, prom.Addr, name); n != 0 || fault != "" { // the scrape that told the silence has ended it
			t.Errorf("%s still stands: %d series, %s", name, n, fault)
		}
	}
	answered(t, prom.Addr, []string{"strokewise_strokes_total", `strokewise_alarm_active{alarm="outlet-leak"} == 1`, "strokewise_last_sample_timestamp_seconds", "strokewise_station_info"})
}
