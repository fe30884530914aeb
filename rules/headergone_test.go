package rules

import (
	"fmt"
	"strings"
	"testing"

	"strokewise/analyzer/station"
)

// lowHeader is a header of twelve stations of which ten fell, with its alarm standing.
func lowHeader(t *testing.T, o *told) *Header {
	t.Helper()
	h := o.header(UsualHeader)
	in := fedStations(12)
	for i := range 10 {
		in = append(in, change(0.4*float64(i), fmt.Sprintf("s%02d", i), Fell))
	}
	for _, x := range in {
		h.Push(x)
	}
	h.Advance(sec(60))
	if !h.standing() || len(o.Transitions) != 1 {
		t.Fatalf("%+v", o.Transitions)
	}
	return h
}

// A header that is renamed in the configuration is still low under its old name, until somebody
// closes the alarm with its cause.
func TestAHeaderOutlivesItsName(t *testing.T) {
	var o told
	h := lowHeader(t, &o)
	for _, id := range h.Stations() {
		h.Forget(id)
	}
	if !h.Orphan() || h.Orphan() {
		t.Error("a header without stations is retired once")
	}
	h.Advance(sec(4000))
	if !h.standing() || len(o.Transitions) != 2 || !o.Transitions[1].ByConfiguration() || o.Transitions[1].To != Unacknowledged {
		t.Fatalf("without stations: %+v", o.Transitions)
	}
	h.Push(HeaderInput{At: sec(4100), Station: "header:main", Command: &station.Command{Kind: "close", Alarm: HeaderLow, By: "Ada", Note: "setting: header renamed"}})
	h.Advance(sec(4200))
	if last := o.Transitions[len(o.Transitions)-1]; h.standing() || last.To != Normal || last.By != "Ada" {
		t.Errorf("closed: %+v", o.Transitions)
	}
}

// Stations that hang on another header now no longer count, and where the alarm ends by that it
// does not claim that the air is back there.
func TestAHeaderThatLosesItsLowStationsSaysSo(t *testing.T) {
	var o told
	h := lowHeader(t, &o)
	for i := range 9 {
		h.Forget(fmt.Sprintf("s%02d", i))
	}
	h.Advance(sec(120))
	last := o.Transitions[len(o.Transitions)-1]
	if last.To != ReturnedUnacknowledged || !strings.Contains(last.Message, "s00, s01") || !strings.Contains(last.Message, "configuration") {
		t.Errorf("%+v", last)
	}
}

// A header whose state was lost knows its low stations by their alarms where the fall itself
// is not remembered.
func TestAHeaderTakesUpTheSignsOfItsStations(t *testing.T) {
	var o told
	h := o.header(UsualHeader)
	h.Adopt([]Transition{{Alarm: HeaderLow, To: Acknowledged, Raised: sec(0), At: sec(5)}})
	for i := range 6 {
		h.Seed(fmt.Sprintf("s%02d", i), FeedState{Fed: true, Sign: sec(3), SignOf: "starved"})
	}
	h.Push(change(20, "s07", Fed))
	h.Advance(sec(400))
	if !h.standing() || len(o.Transitions) != 0 {
		t.Errorf("a start ended it: %+v", o.Transitions)
	}
}
