package pipeline

import (
	"bytes"
	"math"
	"reflect"
	"strings"
	"testing"
	"time"

	"strokewise/analyzer/station"
	"strokewise/cmd/internal/config"
	"strokewise/rules"
)

const shiftFile = `
sites:
  - { id: north, zone: Europe/Lisbon, shifts: [{ days: mon-sun, from: "06:00", to: "22:00" }] }
stations:
  - { id: a, site: north, tank: { volume: 20 L }, booster: { set_pressure: 900 kPa } }
  - { id: b, site: north, after_shift: hold, tank: { volume: 20 L }, booster: { set_pressure: 900 kPa } }
`

// left runs an evening of a station that stays open and charged: from 21:40 to 22:40 in
// Lisbon on the day on which the clock was put back, in blocks of so many samples a second apart.
func left(t *testing.T, s *config.Station, n int, restore bool) []rules.Transition {
	t.Helper()
	z, err := time.LoadLocation("Europe/Lisbon")
	if err != nil {
		t.Fatal(err)
	}
	start := station.InstantOf(time.Date(2026, 10, 25, 21, 40, 0, 0, z))
	u := New(s.Plate, s.Revision)
	const rate, all = 4, 3600 * 4
	for i := 0; i < all; i += n {
		var blocks []station.Block
		for _, c := range []struct {
			ch station.Channel
			p  float64
		}{{station.InletPressure, 600e3}, {station.OutletPressure, 890e3}} {
			b := station.Block{Channel: c.ch, Start: start.Add(int64(i) * station.Second / rate), Step: station.Second / rate}
			for k := i; k < min(i+n, all); k++ {
				b.Values = append(b.Values, c.p+200*math.Sin(float64(k*k%977)))
			}
			blocks = append(blocks, b)
		}
		u.Samples(blocks, blocks[0].At(blocks[0].Len()-1))
		if restore && i/n%7 == 3 {
			var b bytes.Buffer
			if err := u.Save(&b); err != nil {
				t.Fatal(err)
			}
			out := u.Out
			if u, err = Restore(bytes.NewReader(b.Bytes())); err != nil {
				t.Fatal(err)
			}
			u.Out = out
		}
	}
	u.Flush()
	return u.Out.Transitions
}

// The calendar of the configuration reaches the alarms of a replay through the plate; the
// result depends neither on how the input is cut nor on a restore.
func TestPressureLeftAfterTheShift(t *testing.T) {
	cfg, err := config.Parse([]byte(shiftFile), "x.yaml", config.Options{NoBroker: true})
	if err != nil {
		t.Fatal(err)
	}
	got := left(t, &cfg.Stations[0], 40, false)
	if len(got) != 1 || got[0].Alarm != rules.PressureLeft || got[0].At.String() != "2026-10-25T22:30:00Z" || !strings.Contains(got[0].Message, "the shift ended at 2026-10-25 22:00 (Europe/Lisbon); the supply is still open") {
		t.Fatalf("%+v", got)
	}
	for _, n := range []int{7, 400} {
		if other := left(t, &cfg.Stations[0], n, n == 400); !reflect.DeepEqual(other, got) {
			t.Errorf("in blocks of %d: %+v", n, other)
		}
	}
	if held := left(t, &cfg.Stations[1], 40, false); len(held) != 0 {
		t.Errorf("held by intent: %+v", held)
	}
}
