package app

import (
	"net/http/httptest"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"strokewise/analyzer/station"
	"strokewise/deploy/peers"
	"strokewise/rules"
)

// Of two headers one falls. The program is stopped within the hold-off, and before the next
// start everything that could be remembered is taken away but the log and the history: the
// one alarm is told once, with its stations, and nothing else is.
func TestAHeaderIsDecidedOnceOverARestart(t *testing.T) {
	const n = 12
	c := &crew{}
	srv := httptest.NewServer(c)
	defer srv.Close()
	broker := peers.Mosquitto(t)
	o := massPlant(t, broker.Addr, srv.URL, n)
	west := station.HeaderKey(o.Stations[0].Plate.Key.Site, "west")
	for i := range o.Stations {
		if i%2 == 1 {
			o.Stations[i].Plate.Header = "west"
		}
	}
	calm := moment{600e3, 895e3, 1}
	fall := func(i, s int) moment {
		if i%2 == 0 || s < i%4 {
			return calm
		}
		return moment{380e3, max(700e3, 895e3-40e3*float64(s)), 1}
	}
	a, stop := running(t, o)
	f := &feeder{t: t, a: a, start: station.InstantOf(time.Now()).Floor(station.Second)}
	f.seconds(30, func(int, int) moment { return calm })
	f.seconds(8, fall)
	stop()
	if len(c.got) != 0 {
		t.Fatalf("told too early: %+v", c.got)
	}
	execute(t, o, `DELETE FROM snapshots`)
	a, stop = running(t, o)
	f.a = a
	f.seconds(80, func(i, s int) moment { return fall(i, s+8) })
	waitFor(t, "the header's alarm", func() bool { return len(c.of(rules.HeaderLow)) > 0 })
	stop()
	execute(t, o, `DELETE FROM snapshots; UPDATE header_states SET version = 'of another program'`)
	a, stop = running(t, o)
	f.a = a
	f.seconds(20, func(i, s int) moment { return fall(i, s+88) })
	h, _ := a.board.Header(west)
	if len(h.Under) != n/2 || len(h.Alarms) != 1 {
		t.Errorf("after another program took over: %d under it, %+v", len(h.Under), h.Alarms)
	}
	f.seconds(60, func(int, int) moment { return calm })
	waitFor(t, "the header's return", func() bool { return len(c.of(rules.HeaderLow)) > 1 })
	stop()
	got := c.of(rules.HeaderLow)
	if len(got) != 2 || got[0].Data.Station != "header:west" || got[1].Data.To != rules.ReturnedUnacknowledged.String() {
		t.Fatalf("%+v", got)
	}
	list := strings.Split(got[0].Data.Evidence[len(got[0].Data.Evidence)-1].Text, ", ")
	slices.Sort(list)
	if want := []string{"station-1", "station-11", "station-3", "station-5", "station-7", "station-9"}; !reflect.DeepEqual(list, want) {
		t.Errorf("under it: %v", list)
	}
	if len(c.got) != 2 {
		t.Errorf("told beside it: %+v", c.got)
	}
}
