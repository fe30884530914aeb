package web

import (
	"context"
	"fmt"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"strokewise/analyzer/station"
	"strokewise/dashboards/board"
	"strokewise/rules"
)

// lowHeader is a plant whose header is low: two stations under it, a third with a leak of its
// own on another header.
func lowHeader() Options {
	one, two, other := standing(), standing(), press()
	for i, s := range []*board.Station{&one, &two} {
		s.Plate.Key.Station = fmt.Sprintf("press-%d", i+6)
		s.Alarms = []board.Alarm{
			{State: rules.Unacknowledged, Transition: rules.Transition{Key: s.Plate.Key, Alarm: "starved", Priority: rules.Medium, Raised: at(-time.Minute), Message: "The piston stands."}},
			{State: rules.Unacknowledged, Transition: rules.Transition{Key: s.Plate.Key, Alarm: rules.PressureLeft, Priority: rules.High, Raised: at(-time.Minute), Message: "The outlet still reads 880 kPa gauge.", Caution: rules.CautionStored}},
		}
	}
	other.Plate.Header = "west"
	o := fixture(one, two, other)
	k := station.HeaderKey("northdock", "")
	o.Board.PutHeader(board.Header{Key: k, Under: []string{"press-6", "press-7"}, Alarms: []board.Alarm{{State: rules.Unacknowledged, Transition: rules.Transition{
		Key: k, Alarm: rules.HeaderLow, Priority: rules.High, Raised: at(-2 * time.Minute), Message: "Header main is low: 2 stations.", Caution: "The booster restarts by itself when air returns."}}}})
	o.Board.PutHeader(board.Header{Key: station.HeaderKey("northdock", "west")})
	o.Command = func(context.Context, station.Key, station.Command) (Answer, error) { return Answer{}, nil }
	return o
}

func TestAHeaderWithItsStations(t *testing.T) {
	for name, path := range map[string]string{"header-stations.html": "/stations", "header.html": "/station/northdock/header:main", "header-command.html": "/station/northdock/header:main/command"} {
		w := get(New(lowHeader()), path)
		if w.Code != http.StatusOK {
			t.Fatalf("%s: status %d: %s", path, w.Code, w.Body)
		}
		golden := filepath.Join("testdata", name)
		if *update {
			if err := os.WriteFile(golden, w.Body.Bytes(), 0o644); err != nil {
				t.Fatal(err)
			}
		}
		want, err := os.ReadFile(golden)
		if err != nil || w.Body.String() != string(want) {
			t.Errorf("%s differs (renew with -update), %v:\n%s", golden, err, w.Body)
		}
	}
	page := get(New(lowHeader()), "/stations").Body.String()
	// what the header explains is not counted beside it; pressure left is
	if !strings.Contains(page, "3 HIGH") || !strings.Contains(page, "1 MEDIUM") || strings.Count(page, "no separate message is sent for this one") != 2 {
		t.Errorf("counts: %.400s", page)
	}
	one := get(New(lowHeader()), "/station/northdock/press-6").Body.String()
	if !strings.Contains(one, "Affected by header-low of header main.") || strings.Count(one, "no separate message is sent for this one") != 1 {
		t.Errorf("the station's page: %s", one)
	}
	if w := get(New(lowHeader()), "/station/northdock/header:nowhere"); w.Code != http.StatusNotFound {
		t.Errorf("an unknown header: %d", w.Code)
	}
}

func TestCommandsToAHeader(t *testing.T) {
	o := lowHeader()
	var got station.Key
	o.Command = func(_ context.Context, k station.Key, c station.Command) (Answer, error) {
		got = k
		return Answer{}, nil
	}
	r := httptest.NewRequest(http.MethodPost, "/station/northdock/header:main/command", strings.NewReader(`{"kind":"acknowledge","alarm":"header-low","who":"Ana"}`))
	r.Host = "localhost:8420"
	r.Header.Set("Content-Type", "application/json")
	r.Header.Set("Accept", "application/json")
	w := httptest.NewRecorder()
	New(o).ServeHTTP(w, r)
	if w.Code != http.StatusAccepted || got != station.HeaderKey("northdock", "main") {
		t.Errorf("%d %s, %v", w.Code, w.Body, got)
	}
}

// A change of a header's alarm lets the page of stations be fetched anew; while it stays as
// it is, cards alone are sent.
func TestAHeaderThatChangesRenewsThePage(t *testing.T) {
	o := lowHeader()
	now := noon
	o.Now = func() time.Time { return now }
	s := &site{Options: o}
	var c cards
	last := seen{}
	c.since(s, &last)
	for i, want := range []bool{false, true, false} {
		now = now.Add(2 * time.Second)
		if i == 1 {
			h, _ := o.Board.Header(station.HeaderKey("northdock", ""))
			h.Under = []string{"press-6"}
			o.Board.PutHeader(h)
		}
		if got := strings.Contains(string(c.since(s, &last)), `"all":true`); got != want {
			t.Errorf("look %d: the whole is asked for: %v", i, got)
		}
	}
}
