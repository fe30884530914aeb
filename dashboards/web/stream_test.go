package web

import (
	"bufio"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync"
	"testing"
	"time"

	"strokewise/analyzer/station"
	"strokewise/dashboards/board"
)

// serving starts a server as the program does, with short timeouts, until the test ends.
func serving(t *testing.T, o Options) (url string, stop func()) {
	t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	srv := httptest.NewUnstartedServer(New(o))
	srv.Config.BaseContext = func(net.Listener) context.Context { return ctx }
	srv.Config.ReadTimeout, srv.Config.WriteTimeout = time.Second, time.Second
	srv.Start()
	stop = sync.OnceFunc(func() { cancel(); srv.Close() })
	t.Cleanup(stop)
	return srv.URL, stop
}

// event is one event of a stream.
type event struct{ kind, data string }

// listen gives the events of a stream; the channel is closed when it ends.
func listen(t *testing.T, url string) <-chan event {
	t.Helper()
	r, err := http.Get(url)
	if err != nil {
		t.Fatal(err)
	}
	if r.StatusCode != http.StatusOK || r.Header.Get("Content-Type") != "text/event-stream" {
		t.Fatalf("%s: status %d, type %q", url, r.StatusCode, r.Header.Get("Content-Type"))
	}
	t.Cleanup(func() { r.Body.Close() })
	out := make(chan event, 1000)
	go func() {
		defer close(out)
		var e event
		for in := bufio.NewScanner(r.Body); in.Scan(); {
			if v, ok := strings.CutPrefix(in.Text(), "event: "); ok {
				e.kind = v
			} else if v, ok := strings.CutPrefix(in.Text(), "data: "); ok {
				e.data = v
				out <- e
			}
		}
	}()
	return out
}

// patience is how long something may take that must happen, on a machine however busy.
const patience = 5 * time.Minute

// await returns at the next event of that kind which fits.
func await(t *testing.T, events <-chan event, kind string, fits func(data string) bool) {
	t.Helper()
	late := time.After(patience)
	for {
		select {
		case e, ok := <-events:
			if !ok {
				t.Fatalf("the stream ended before a %s event", kind)
			}
			if !json.Valid([]byte(e.data)) {
				t.Fatalf("%s: no JSON: %s", e.kind, e.data)
			}
			if e.kind == kind && fits(e.data) {
				return
			}
		case <-late:
			t.Fatalf("no %s event", kind)
		}
	}
}

// ticking gives options with a clock that goes.
func ticking() Options {
	o := everything()
	o.Now = time.Now
	return o
}

// What changes arrives, also after the server's timeouts have passed, and the stream ends
// with the server.
func TestStream(t *testing.T) {
	o := ticking()
	url, stop := serving(t, o)
	events := listen(t, url+"/events?cards=1&watch=northdock/press-4")
	await(t, events, "alive", func(string) bool { return true })
	time.Sleep(1500 * time.Millisecond)
	s := press()
	s.Status.State, s.Status.Outlet = station.Venting, known(123e3, station.MethodTraces)
	o.Board.Put(s)
	o.Live.Samples(s.Plate.Key, []station.Block{{Channel: station.OutletPressure, Start: at(time.Second), Values: []float64{123e3}}})
	o.Live.Stroke(s.Plate.Key, station.Stroke{At: at(time.Second), Side: station.SideB})
	await(t, events, "trace", func(d string) bool { return strings.Contains(d, "123.00") && strings.Contains(d, `"b"`) })
	await(t, events, "station", func(d string) bool {
		return strings.Contains(d, "Venting: the outlet falls fast") && strings.Contains(d, "123.0")
	})
	s.Alarms = nil
	o.Board.Put(s)
	await(t, events, "stations", func(d string) bool { return strings.Contains(d, "Venting") && strings.Contains(d, "press-4") })
	o.Board.Put(func() board.Station { n := standing(); n.Plate.Key.Station = "press-9"; return n }())
	await(t, events, "stations", func(d string) bool { return strings.Contains(d, `"all":true`) })
	ended := make(chan struct{})
	go func() { defer close(ended); stop() }()
	for range events {
	}
	<-ended
}

// Streams are bounded, and a place becomes free when a reader goes.
func TestBoundedStreams(t *testing.T) {
	url, _ := serving(t, ticking())
	var bodies []io.Closer
	for range mostStreams {
		r, err := http.Get(url + "/events?watch=northdock/press-4")
		if err != nil || r.StatusCode != http.StatusOK {
			t.Fatal(err, r.StatusCode)
		}
		bodies = append(bodies, r.Body)
	}
	r, err := http.Get(url + "/events?cards=1")
	if err != nil {
		t.Fatal(err)
	}
	text, _ := io.ReadAll(r.Body)
	r.Body.Close()
	if r.StatusCode != http.StatusServiceUnavailable || !strings.Contains(string(text), "every 5 s") {
		t.Errorf("one too many: status %d, %s", r.StatusCode, text)
	}
	for _, b := range bodies {
		b.Close()
	}
	for until := time.Now().Add(patience); ; time.Sleep(20 * time.Millisecond) {
		r, err := http.Get(url + "/events?cards=1")
		if err != nil {
			t.Fatal(err)
		}
		r.Body.Close()
		if r.StatusCode == http.StatusOK {
			return
		}
		if time.Now().After(until) {
			t.Fatal("no place became free")
		}
	}
}

// With many stations each message is bounded, and every card comes in its turn; one whose
// state changes comes first.
func TestCardsTakeTurns(t *testing.T) {
	o := fixture()
	key := func(i int) string { return fmt.Sprintf("press-%03d", i) }
	put := func(i int, state station.State, outlet float64) {
		s := standing()
		s.Plate.Key.Station = key(i)
		s.Status.State, s.Status.Outlet = state, known(outlet, station.MethodTraces)
		o.Board.Put(s)
	}
	now := noon
	o.Now = func() time.Time { return now }
	s := &site{Options: o}
	for i := range 450 {
		put(i, station.Holding, 800e3)
	}
	var last seen
	s.cards.since(s, &last)
	got := map[string]bool{}
	for round := range 5 {
		now = now.Add(time.Second)
		for i := range 450 {
			put(i, station.Holding, 801e3+float64(round)*1e3)
		}
		if round == 0 {
			put(440, station.Starved, 700e3)
		}
		var v stationsJSON
		if err := json.Unmarshal(s.cards.since(s, &last), &v); err != nil {
			t.Fatal(err)
		}
		if len(v.Cards) != mostCards || v.All {
			t.Fatalf("round %d: %d cards, all %v", round, len(v.Cards), v.All)
		}
		if round == 0 && v.Cards[0].Key != "northdock/"+key(440) {
			t.Errorf("first comes %s", v.Cards[0].Key)
		}
		for _, c := range v.Cards {
			got[c.Key] = true
		}
	}
	if len(got) != 450 {
		t.Errorf("%d of 450 cards came", len(got))
	}
}

// Many readers and one writer.
func TestReadersAndWriter(t *testing.T) {
	o := ticking()
	h := New(o)
	ctx, cancel := context.WithTimeout(t.Context(), time.Second)
	defer cancel()
	var wg sync.WaitGroup
	for range 3 {
		wg.Go(func() {
			r := httptest.NewRequestWithContext(ctx, http.MethodGet, "/events?cards=1&watch=northdock/press-4", nil)
			r.Host = "localhost"
			h.ServeHTTP(httptest.NewRecorder(), r)
		})
		wg.Go(func() {
			for ctx.Err() == nil {
				get(h, "/station/northdock/press-4")
				get(h, "/station/northdock/press-4/trace?span=30")
				get(h, "/stations")
			}
		})
	}
	for i := 0; ctx.Err() == nil; i++ {
		s := press()
		s.Status.Since = at(time.Duration(i) * time.Second)
		o.Board.Put(s)
		o.Live.Samples(s.Plate.Key, []station.Block{{Channel: station.InletPressure, Start: at(time.Duration(i) * time.Millisecond), Values: []float64{1e5}}})
		o.Live.Stroke(s.Plate.Key, station.Stroke{At: at(time.Duration(i) * time.Millisecond)})
	}
	wg.Wait()
}

func TestFilling(t *testing.T) {
	o := everything()
	o.Board.SetPast(board.Past{Stage: "the last week", Done: 35.2, All: 160, Ready: []string{"the last hour", "the last shift"}})
	if body := get(New(o), "/").Body.String(); !strings.Contains(body, "Filling in the last week: 35 of 160 station-hours.") {
		t.Error(body)
	}
	o.Board.SetPast(board.Past{Ready: []string{"the last hour"}})
	if body := get(New(o), "/").Body.String(); strings.Contains(body, "Filling in") {
		t.Error("still filling in")
	}
}
