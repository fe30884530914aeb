package app

import (
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"strokewise/analyzer/station"
	"strokewise/deploy/peers"
	"strokewise/rules"
	"strokewise/rules/notify"
)

// message is an event as a webhook gets it.
type message struct {
	Type string
	Data struct {
		Site, Station, Alarm, To string
		Count                    int
		Evidence                 []rules.Evidence
		Alarms                   []struct{ ID, Station string }
	}
	at time.Time
}

// crew is a webhook that keeps what it gets.
type crew struct {
	mu  sync.Mutex
	got []message
}

func (c *crew) ServeHTTP(_ http.ResponseWriter, r *http.Request) {
	m := message{at: time.Now()}
	body, _ := io.ReadAll(r.Body)
	if json.Unmarshal(body, &m) != nil {
		m.Type = "unreadable: " + string(body)
	}
	c.mu.Lock()
	c.got = append(c.got, m)
	c.mu.Unlock()
}

// of gives what came of an alarm.
func (c *crew) of(alarm string) (out []message) {
	c.mu.Lock()
	defer c.mu.Unlock()
	for _, m := range c.got {
		if m.Data.Alarm == alarm {
			out = append(out, m)
		}
	}
	return out
}

// stationsOf gives the stations that messages name, each with the time of its message.
func stationsOf(list []message) map[string]time.Time {
	out := map[string]time.Time{}
	for _, m := range list {
		if m.Data.Station != "" {
			out[m.Data.Station] = m.at
		}
		for _, a := range m.Data.Alarms {
			out[a.Station] = m.at
		}
	}
	return out
}

// feeder puts seconds of many stations into the log, as fast as it is taken. Their time runs
// ahead of ours, so that the alarms of headers go by it alone.
type feeder struct {
	t      testing.TB
	a      *App
	start  station.Instant
	now    int       // s
	cycles []float64 // of each station, see night
	dead   bool      // the writer of headers, see standing
}

// moment is what a station's sensors read.
type moment struct{ inlet, outlet, open float64 }

func (f *feeder) second(at func(i int) moment) {
	f.t.Helper()
	start := f.start.Add(int64(f.now) * station.Second)
	var parts [station.Partitions][]station.Record
	for i, s := range f.a.configured() {
		m := at(i)
		const step = station.Second / 2
		noise := 100 * float64((f.now*7+i)%5)
		two := func(x float64) []float64 { return []float64{x + noise, x - noise} }
		k := s.Plate.Key
		parts[k.Partition()] = append(parts[k.Partition()], station.Record{Key: k, Arrival: start.Add(station.Second), Blocks: []station.Block{
			{Channel: station.InletPressure, Start: start, Step: step, Values: two(m.inlet)},
			{Channel: station.OutletPressure, Start: start, Step: step, Values: two(m.outlet)},
			{Channel: station.SupplyOpen, Start: start, Step: step, Values: []float64{m.open, m.open}}}})
	}
	for n, records := range parts {
		if len(records) == 0 {
			continue
		}
		if _, err := f.a.samples.Append(f.t.Context(), n, records); err != nil {
			f.t.Fatal(err)
		}
	}
	f.now++
}

// seconds puts n of them in and waits until they are worked off.
func (f *feeder) seconds(n int, at func(i, s int) moment) {
	f.t.Helper()
	for s := range n {
		f.second(func(i int) moment { return at(i, s) })
	}
	f.settle()
}

func (f *feeder) settle() {
	f.t.Helper()
	waitFor(f.t, "the log to be worked off", func() bool {
		for n, p := range f.a.parts {
			last, _, err := f.a.samples.Last(f.t.Context(), n)
			p.mu.Lock()
			done := err == nil && p.committed >= last
			p.mu.Unlock()
			if !done {
				return false
			}
		}
		return true
	})
}

// massPlant gives n stations of one header.
func massPlant(t testing.TB, addr, hook string, n int) Options {
	ids := make([]string, n)
	for i := range ids {
		ids[i] = fmt.Sprintf("station-%d", i)
	}
	o := options(t, addr, ids...)
	o.Every.Tick, o.Every.Snapshot = time.Hour, time.Hour
	o.Webhooks = []notify.Webhook{{Name: "crew", URL: hook}}
	for i := range o.Stations {
		p := &o.Stations[i].Plate
		p.Set, p.Required, p.TankVolume, p.Grace = 900e3, 800e3, 20e-3, 20*time.Second
		p.Bores(0.063, 0.063, 0.016, 0.06, true, true)
	}
	return o
}

// A thousand stations lose their header at once, then their supply: one alarm with all of them
// under it, nobody told of each by itself, and pressure left named for every one.
func TestAMassEventIsOneAlarm(t *testing.T) {
	n := 1000
	if raced {
		n = 100
	}
	c := &crew{}
	srv := httptest.NewServer(c)
	defer srv.Close()
	broker := peers.Mosquitto(t)
	o := massPlant(t, broker.Addr, srv.URL, n)
	a, stop := running(t, o)
	f := &feeder{t: t, a: a, start: station.InstantOf(time.Now()).Floor(station.Second)}
	calm := moment{600e3, 895e3, 1}
	f.seconds(30, func(int, int) moment { return calm })
	_, calmTook := timed(t, a)
	f.seconds(30, func(i, s int) moment { // the header falls within five seconds
		if s < i%5 {
			return calm
		}
		return moment{380e3, max(700e3, 895e3-40e3*float64(s)), 1}
	})
	waitFor(t, "the alarm of the header", func() bool { return len(c.of(rules.HeaderLow)) > 0 })
	low := func(int, int) moment { return moment{380e3, 700e3, 1} }
	f.seconds(50, low)
	unexplained := func() int {
		open, err := a.store.OpenAlarms(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		return n - len(slices.DeleteFunc(open, func(x rules.Transition) bool { return x.Explained != rules.HeaderLow }))
	}
	for s := 0; s < 60 && unexplained() > 0; s++ { // the writer of headers decides in event time, behind the partitions
		f.seconds(1, low)
	}
	time.Sleep(time.Second) // in which nothing else is told
	if got := c.of(rules.HeaderLow); len(got) != 1 || got[0].Data.Station != "header:main" || got[0].Data.To != "unacknowledged" {
		t.Fatalf("%d messages of the header: %+v", len(got), got)
	} else if list := got[0].Data.Evidence[len(got[0].Data.Evidence)-1].Text; len(strings.Split(list, ", ")) != n {
		t.Errorf("%d stations listed", len(strings.Split(list, ", ")))
	}
	c.mu.Lock()
	others := map[string]int{}
	for _, m := range c.got {
		if m.Data.Alarm != rules.HeaderLow {
			others[m.Data.Alarm+" "+m.Type]++
		}
	}
	c.mu.Unlock()
	if len(others) != 0 {
		t.Errorf("told beside it: %v", others)
	}
	h, _ := a.board.Header(station.HeaderKey(o.Stations[0].Plate.Key.Site, ""))
	explained, by := 0, map[string]int{}
	open, err := a.store.OpenAlarms(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	for _, x := range open {
		if x.Explained == rules.HeaderLow {
			explained++
			by[x.Alarm]++
		}
	}
	if len(h.Under) != n || explained < n {
		t.Errorf("%d stations under it, %d alarms explained", len(h.Under), explained)
	}
	list, _ := a.openAlarms()
	list = slices.DeleteFunc(list, func(x rules.Transition) bool { return !x.To.Active() })
	if len(list) != 1 || list[0].Alarm != rules.HeaderLow {
		t.Errorf("what stands and is told again: %d alarms", len(list))
	}
	page, pageTook := timed(t, a)
	if strings.Count(page, `<strong>`+rules.HeaderLow+`</strong>`) != 1+by[rules.HeaderLow] || !strings.Contains(page, plural(n)+" affected") || strings.Count(page, "no separate message is sent for this one") < n {
		t.Errorf("the page of stations does not show the header's alarm once with its stations: %d times, %v, %d explained",
			strings.Count(page, `<strong>`+rules.HeaderLow+`</strong>`), strings.Contains(page, plural(n)+" affected"), strings.Count(page, "no separate message is sent for this one"))
	}
	key := "/station/" + o.Stations[0].Plate.Key.Site + "/header:main"
	if text := fetch(t, a, key); !strings.Contains(text, ">station-7</bdi>") || !strings.Contains(text, `value="acknowledge"`) {
		t.Errorf("the header's page: %s", text)
	}
	if text := fetch(t, a, "/metrics"); !strings.Contains(text, `strokewise_alarm_active{alarm="header-low",branch="",priority="medium",site="`+o.Stations[0].Plate.Key.Site+`",station="header:main"} 1`) {
		t.Error("no metric of the header's alarm")
	}
	// a person's word
	hk := h.Key
	if _, err := a.Command(t.Context(), hk, station.Command{Kind: "vented", By: "Ana", Note: "x"}); err == nil {
		t.Error("a header is vented")
	}
	if _, err := a.Command(t.Context(), hk, station.Command{Kind: "acknowledge", Alarm: rules.HeaderLow, By: "Ana"}); err != nil {
		t.Fatal(err)
	}
	f.seconds(2, low) // its place is in event time
	waitFor(t, "the acknowledgement", func() bool {
		h, _ := a.board.Header(hk)
		return len(h.Alarms) == 1 && h.Alarms[0].State == rules.Acknowledged && h.Alarms[0].Transition.By == "Ana"
	})
	// the supply is shut: pressure is left in every tank
	shut := func(int, int) moment { return moment{0, 700e3, 0} }
	f.seconds(21, shut)
	if got := c.of(rules.PressureLeft); len(got) != 0 {
		t.Fatalf("too early: %+v", got[0])
	}
	var before time.Time
	for range 6 { // until the second that brings the watermark to the end of the grace time
		before = time.Now()
		f.second(func(i int) moment { return shut(i, 0) })
		for time.Since(before) < 2*time.Second && len(c.of(rules.PressureLeft)) == 0 {
			time.Sleep(time.Millisecond)
		}
		if len(c.of(rules.PressureLeft)) > 0 {
			break
		}
	}
	f.second(func(i int) moment { return shut(i, 0) })
	waitFor(t, "pressure left at every station", func() bool { return len(stationsOf(c.of(rules.PressureLeft))) == n })
	left := c.of(rules.PressureLeft)
	var took []time.Duration
	for _, at := range stationsOf(left) {
		took = append(took, at.Sub(before))
	}
	slices.Sort(took)
	t.Logf("%d stations: pressure left at all of them in %d messages, after %v (median) to %v; page of stations: %d kB in %v, %v while all was well; explained: %v",
		n, len(left), took[n/2].Round(time.Millisecond), took[n-1].Round(time.Millisecond), len(page)/1000, pageTook.Round(time.Millisecond), calmTook.Round(time.Millisecond), by)
	if len(left) > n/10 {
		t.Errorf("%d messages of pressure left", len(left))
	}
	stop()
	found := 0
	for _, act := range acts(t, o) {
		if act.What == "acknowledge" && act.Target == hk.String()+" "+rules.HeaderLow {
			found++
		}
	}
	if found != 1 {
		t.Errorf("%d lines of the audit", found)
	}
}

// timed gives the page of stations and how long it took.
func timed(t testing.TB, a *App) (string, time.Duration) {
	began := time.Now()
	page := fetch(t, a, "/")
	return page, time.Since(began)
}

func plural(n int) string { return fmt.Sprintf("%d stations", n) }

func fetch(t testing.TB, a *App, path string) string {
	t.Helper()
	res, err := http.Get("http://" + a.Addr() + path)
	if err != nil {
		t.Fatal(err)
	}
	defer res.Body.Close()
	defer http.DefaultClient.CloseIdleConnections()
	body, err := io.ReadAll(res.Body)
	if err != nil || res.StatusCode != http.StatusOK {
		t.Fatalf("%s: %s, %v", path, res.Status, err)
	}
	return string(body)
}
