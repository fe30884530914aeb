package rules

import (
	"errors"
	"strings"
	"testing"

	"strokewise/analyzer/station"
)

func TestRefuse(t *testing.T) {
	const hour = 60 * station.Minute60
	for _, c := range []struct {
		c    station.Command
		says string // "": it is taken
	}{
		{station.Command{Kind: "acknowledge", Alarm: OutletLeak, By: "Ana"}, ""},
		{station.Command{Kind: "note", By: "Ana", Note: "first line\nsecond"}, ""},
		{station.Command{Kind: "vented", By: "Ana", Note: "gauge 3"}, ""},
		{station.Command{Kind: "shelve", Alarm: OutletLeak, By: "Ana", Note: "parts ordered", Until: t0.Add(720 * hour)}, ""},
		{station.Command{Kind: "shelve", Alarm: PressureLeft, By: "Ana", Note: "test", Until: t0.Add(12 * hour)}, ""},
		{station.Command{Kind: "explode", By: "Ana"}, "expected one of acknowledge"},
		{station.Command{Kind: "acknowledge", Alarm: OutletLeak}, "give your name"},
		{station.Command{Kind: "acknowledge", Alarm: OutletLeak, By: "  "}, "give your name"},
		{station.Command{Kind: "acknowledge", Alarm: OutletLeak, By: "A\x00"}, "no text"},
		{station.Command{Kind: "acknowledge", Alarm: OutletLeak, By: "\xff"}, "no text"},
		{station.Command{Kind: "acknowledge", Alarm: OutletLeak, By: strings.Repeat("é", 81)}, "longer than 80"},
		{station.Command{Kind: "acknowledge", Alarm: "leak", By: "Ana"}, "expected one of supply-undersized"},
		{station.Command{Kind: "acknowledge", By: "Ana"}, "alarm is"},
		{station.Command{Kind: "acknowledge", Alarm: OutletLeak, By: "Ana", Until: t0.Add(hour)}, "has no end"},
		{station.Command{Kind: "note", By: "Ana"}, "the text of the note"},
		{station.Command{Kind: "note", By: "Ana", Note: strings.Repeat("x", 1001)}, "longer than 1000"},
		{station.Command{Kind: "note", Alarm: OutletLeak, By: "Ana", Note: "x"}, "leave alarm out"},
		{station.Command{Kind: "inspected", By: "Ana"}, "reference of the document"},
		{station.Command{Kind: "vented", By: "Ana"}, "which gauge"},
		{station.Command{Kind: "close", Alarm: OutletLeak, By: "Ana"}, "cause and what was done"},
		{station.Command{Kind: "out-of-service", Alarm: OutletLeak, By: "Ana"}, "give the reason"},
		{station.Command{Kind: "shelve", Alarm: OutletLeak, By: "Ana", Until: t0.Add(hour)}, "give the reason"},
		{station.Command{Kind: "shelve", Alarm: OutletLeak, By: "Ana", Note: "x"}, "in the past"},
		{station.Command{Kind: "shelve", Alarm: OutletLeak, By: "Ana", Note: "x", Until: t0}, "in the past"},
		{station.Command{Kind: "shelve", Alarm: OutletLeak, By: "Ana", Note: "x", Until: t0.Add(720*hour + 1)}, "30 days at most"},
		{station.Command{Kind: "shelve", Alarm: PressureLeft, By: "Ana", Note: "x", Until: t0.Add(12*hour + 1)}, "12 h at most"},
	} {
		err := Refuse(&c.c, t0)
		var refusal *Refusal
		if c.says == "" && err != nil || c.says != "" && (!errors.As(err, &refusal) || !strings.Contains(err.Error(), c.says)) {
			t.Errorf("%+v: %v, want %q", c.c, err, c.says)
		}
	}
}

func TestCommandSaysWhatHadNoEffect(t *testing.T) {
	var got []Transition
	v := NewEvaluator(&station.Plate{}, func(t *Transition) { got = append(got, *t) })
	c := &station.Command{Kind: "acknowledge", Alarm: OutletLeak, By: "Ana"}
	if err := v.Command(c, t0); err == nil || len(got) != 0 {
		t.Errorf("an alarm that is normal: %v, %v", err, got)
	}
	v.Alarms[index(OutletLeak)].State = Unacknowledged
	if err := v.Command(c, t0); err != nil || len(got) != 1 || got[0].To != Acknowledged {
		t.Errorf("%v, %v", err, got)
	}
}
