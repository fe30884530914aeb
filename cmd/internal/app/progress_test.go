package app

import (
	"strings"
	"testing"
	"time"

	"strokewise/analyzer/station"
	"strokewise/rules"
)

// Pressure is left at 878 kPa and then the outlet reads 0 at once: the alarm stands, and the pages
// no longer say that 878 kPa are read.
func TestThePagesSayWhatIsReadNow(t *testing.T) {
	o := decided(t, 1)
	k := o.Stations[0].Plate.Key
	a, stop := running(t, o)
	defer stop()
	f := &feeder{t: t, a: a, start: station.InstantOf(time.Now()).Floor(station.Second)}
	f.seconds(30, func(int, int) moment { return moment{600e3, 895e3, 1} })
	f.seconds(60, func(int, int) moment { return moment{0, 878e3, 0} }) // 20 s of grace
	page := "/station/" + k.String()
	if text := fetch(t, a, page); !strings.Contains(text, "still reads 878 kPa") || !strings.Contains(text, "878 kPa gauge when raised, 878 now") {
		t.Fatalf("while it is charged: %s", text)
	}
	f.seconds(20, func(int, int) moment { return moment{0, 0, 0} })
	one, _ := a.board.Get(k)
	if len(one.Alarms) != 1 || one.Alarms[0].Transition.Alarm != rules.PressureLeft || one.Alarms[0].Progress == nil {
		t.Fatalf("%+v", one.Alarms)
	}
	text := fetch(t, a, page)
	_, alarms, _ := strings.Cut(text, `data-alarm="pressure-left"`)
	alarms, _, _ = strings.Cut(alarms, "</section>")
	if strings.Contains(alarms, "still reads 878") || !strings.Contains(alarms, "878 kPa gauge when raised") {
		t.Errorf("after the fall: %+v\n%s", one.Alarms[0].Progress, alarms)
	}
}
