package web

import (
	"strings"
	"testing"

	"strokewise/analyzer/station"
)

// quietMinutes are n minutes at set that deliver the litres given, over and over.
func quietMinutes(n int, litres ...float64) []station.Minute {
	out := make([]station.Minute, n)
	for i := range out {
		out[i] = station.Minute{Start: at(0).Add(int64(i) * station.Minute60), Delivered: station.Microlitres(litres[i%len(litres)] * 1e6)}
		out[i].StateNs[station.Stroking] = station.Minute60
	}
	return out
}

// By hand: minutes of 10, 20 and 60 L have a mean of 30 L, half of the fullest, and 30 L a
// minute are free.
func TestRoom(t *testing.T) {
	rows := room(quietMinutes(30, 10, 20, 60))
	if rows[0].Value != "50" || rows[0].Unit != "%" || !strings.Contains(rows[0].How, "60.0 L/min ANR at 2026-03-02 12:02") {
		t.Errorf("load %+v", rows[0])
	}
	if rows[1].Value != "at least 30.0" || rows[1].Unit != "L/min ANR" {
		t.Errorf("free capacity %+v", rows[1])
	}
}

// A first fill delivers more at a lower pressure, and a minute without air says nothing:
// neither counts.
func TestRoomLeavesOutCharging(t *testing.T) {
	minutes := quietMinutes(30, 10, 20, 60)
	odd := quietMinutes(2, 500)
	odd[0].StateNs = [station.NumStates]int64{station.Charging: station.Minute60}
	odd[1].AirReason = "bores not given"
	for i, r := range room(append(minutes, odd...)) {
		if want := room(minutes)[i]; r != want {
			t.Errorf("%+v, want %+v", r, want)
		}
	}
}

func TestRoomUnknown(t *testing.T) {
	for name, minutes := range map[string][]station.Minute{"nine minutes": quietMinutes(9, 10), "nothing delivered": quietMinutes(20, 0), "none": nil} {
		for _, r := range room(minutes) {
			if r.Why == "" || r.Value != "" {
				t.Errorf("%s: %+v", name, r)
			}
		}
	}
}
