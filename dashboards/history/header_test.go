package history

import (
	"path/filepath"
	"reflect"
	"testing"

	"strokewise/analyzer/station"
	"strokewise/rules"
)

var header = station.HeaderKey("northdock", "")

// holding is a commit of an alarm that waits for its header, a change of the feed and a
// person's word about the header.
func holding(position uint64) Commit {
	c := commit(position, nil, transition(1, rules.PressureLeft, rules.Unacknowledged), transition(2, "starved", rules.Unacknowledged), transition(3, "outlet-low", rules.Unacknowledged))
	c.Holding = Holding{Headers: []station.Key{{}, header, header}, Until: t0.Add(3600 * station.Second),
		Feeds: []rules.Feed{{Key: press, Header: header, At: t0, Change: rules.Fell, Inlet: 3e5, Rest: 6e5}},
		Words: []HeaderWord{{Key: header, At: t0.Add(9), Command: station.Command{Kind: "acknowledge", Alarm: rules.HeaderLow, By: "Ana"}}}}
	return c
}

func TestWhatWaitsForItsHeader(t *testing.T) {
	path := filepath.Join(t.TempDir(), "history.db")
	s := open(t, path, "phone", "mail")
	do(t, s, holding(10))
	alarms := func(at station.Instant) (names []string) {
		t.Helper()
		due, err := s.OutboxDue(t.Context(), "phone", at, 9)
		if err != nil {
			t.Fatal(err)
		}
		for _, i := range due {
			names = append(names, i.Transition.Alarm)
		}
		return names
	}
	if got := alarms(t0); !reflect.DeepEqual(got, []string{rules.PressureLeft}) {
		t.Errorf("told at once: %v", got)
	}
	if got := alarms(t0.Add(3600 * station.Second)); len(got) != 3 {
		t.Errorf("told in the end, whatever became of the header: %v", got)
	}
	in, err := s.HeaderInputs(t.Context(), 0, 99)
	if err != nil || len(in) != 4 {
		t.Fatalf("%+v, %v", in, err)
	}
	starved, outlet := in[0].Alarm, in[1].Alarm
	if in[0].Header != header || in[0].Station != "press-4" || starved == nil || starved.Alarm != "starved" || starved.To != rules.Unacknowledged || starved.Raised != t0 || in[0].At != t0.Add(2*station.Second) {
		t.Errorf("%+v %+v", in[0], starved)
	}
	if f := in[2].Feed; f == nil || f.Change != rules.Fell || f.Rest != 6e5 || in[2].Station != "press-4" {
		t.Errorf("%+v", in[2])
	}
	if c := in[3].Command; c == nil || c.By != "Ana" || in[3].Header != header {
		t.Errorf("%+v", in[3])
	}
	// outlet-low is told, starved is not; all but the last input has been taken
	up := rules.Transition{Key: header, Alarm: rules.HeaderLow, Priority: rules.High, To: rules.Unacknowledged, At: t0, Raised: t0}
	c := HeaderCommit{Taken: in[2].Seq, States: []HeaderState{{header, "1", []byte("state")}}, Transitions: []rules.Transition{up},
		Judgements: []rules.Judgement{{Seq: starved.Seq, Why: rules.HeaderLow}, {Seq: outlet.Seq, Tell: true}}}
	for range 2 { // a repetition changes nothing
		if err := s.CommitHeaders(t.Context(), &c); err != nil {
			t.Fatal(err)
		}
	}
	s.Close()
	s = open(t, path, "phone", "mail")
	if got := alarms(t0); !reflect.DeepEqual(got, []string{rules.PressureLeft, "outlet-low", rules.HeaderLow}) {
		t.Errorf("after the judgement: %v", got)
	}
	if in, _ := s.HeaderInputs(t.Context(), 0, 99); len(in) != 1 || in[0].Command == nil {
		t.Errorf("%+v", in)
	}
	if got, err := s.HeaderStates(t.Context()); err != nil || !reflect.DeepEqual(got, c.States) {
		t.Errorf("%+v, %v", got, err)
	}
	explained := func() (n int) {
		open, err := s.OpenAlarms(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		for _, x := range open {
			if x.Explained == rules.HeaderLow && x.Alarm == "starved" {
				n++
			} else if x.Explained != "" {
				t.Errorf("%+v", x)
			}
		}
		return n
	}
	if explained() != 1 {
		t.Error("the record does not say what explains the alarm")
	}
	// the header is back, and it still starves: now it is told, once
	for range 2 {
		if err := s.CommitHeaders(t.Context(), &HeaderCommit{Taken: in[2].Seq, Judgements: []rules.Judgement{{Seq: starved.Seq, Tell: true}}}); err != nil {
			t.Fatal(err)
		}
	}
	if got := alarms(t0); len(got) != 4 || got[3] != "starved" || explained() != 0 {
		t.Errorf("after the header is back: %v", got)
	}
	if n, _ := s.OutboxPending(t.Context()); n["mail"] != 4 || n["phone"] != 4 {
		t.Errorf("%v", n)
	}
}

// A database of version 5 keeps its transitions, which nothing explains.
func TestADatabaseOfVersion5IsBroughtUpToDate(t *testing.T) {
	s := broughtUp(t, "version5.sql")
	got, err := s.OpenAlarms(t.Context())
	if err != nil || len(got) != 2 || got[0].Explained != "" || got[0].By+got[1].By != "Ada" {
		t.Fatalf("%+v, %v", got, err)
	}
	c := holding(15)
	c.Transitions[1].Raised = t0.Add(1)
	do(t, s, c)
	if in, err := s.HeaderInputs(t.Context(), 0, 99); err != nil || len(in) != 4 {
		t.Errorf("%+v, %v", in, err)
	}
}
