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
		{station.Command{Kind: "shelve", Alarm: OutletLeak, By: "Ana", Note: "parts ordered", Until: t0.Add(168 * hour)}, ""},
		{station.Command{Kind: "shelve", Alarm: PressureLeft, By: "Ana", Note: "test", Until: t0.Add(12 * hour)}, ""},
		{station.Command{Kind: "at-work", By: "Ana", Note: "seal", Until: t0.Add(24 * hour)}, ""},
		{station.Command{Kind: "at-work", By: "Ana", Note: "seal", Until: t0.Add(24*hour + 1)}, "1 d (1440 minutes) at most"},
		{station.Command{Kind: "at-work", By: "Ana", Note: "seal"}, "the end of the work is past"},
		{station.Command{Kind: "at-work", By: "Ana", Until: t0.Add(hour)}, "give what you are working on"},
		{station.Command{Kind: "at-work", Note: "seal", Until: t0.Add(hour)}, "give your name"},
		{station.Command{Kind: "at-work", Alarm: PressureLeft, By: "Ana", Note: "seal", Until: t0.Add(hour)}, "leave alarm out"},
		{station.Command{Kind: "work-ended", By: "Ana"}, ""},
		{station.Command{Kind: "work-ended", By: "Ana", Until: t0.Add(hour)}, "has no end"},
		{station.Command{Kind: "shelve", Alarm: PressureAtWork, By: "Ana", Note: "x", Until: t0.Add(16 * station.Minute60)}, "15 minutes at most"},
		{station.Command{Kind: "explode", By: "Ana"}, "expected one of acknowledge"},
		{station.Command{Kind: "acknowledge", Alarm: OutletLeak}, "give your name"},
		{station.Command{Kind: "acknowledge", Alarm: OutletLeak, By: "  "}, "give your name"},
		{station.Command{Kind: "acknowledge", Alarm: OutletLeak, By: "A\x00"}, "not text"},
		{station.Command{Kind: "acknowledge", Alarm: OutletLeak, By: "\xff"}, "not text"},
		{station.Command{Kind: "acknowledge", Alarm: OutletLeak, By: strings.Repeat("é", 81)}, "longer than 80"},
		{station.Command{Kind: "acknowledge", Alarm: "leak", By: "Ana"}, "expected one of supply-undersized"},
		{station.Command{Kind: "acknowledge", By: "Ana"}, "alarm is"},
		{station.Command{Kind: "acknowledge", Alarm: OutletLeak, By: "Ana", Until: t0.Add(hour)}, "has no end"},
		{station.Command{Kind: "note", By: "Ana"}, "the text of the note"},
		{station.Command{Kind: "note", By: "Ana", Note: strings.Repeat("x", 1001)}, "longer than 1000"},
		{station.Command{Kind: "note", Alarm: OutletLeak, By: "Ana", Note: "x"}, "leave alarm out"},
		{station.Command{Kind: "inspected", By: "Ana"}, "reference of the document"},
		{station.Command{Kind: "vented", By: "Ana"}, "which gauge"},
		{station.Command{Kind: "close", Alarm: OutletLeak, By: "Ana"}, "what was done about the cause"},
		{station.Command{Kind: "close", Alarm: OutletLeak, By: "Ana", Note: "leak: clamp tightened"}, "cause is missing: give leak, wear, blockage, supply, setting, use, sensor, planned work or nothing found"},
		{station.Command{Kind: "close", Alarm: OutletLeak, By: "Ana", Note: "clamp tightened", Cause: station.CauseLeak}, ""},
		{station.Command{Kind: "inspected", By: "Ana", Note: "certificate 4711"}, "reference of the document"},
		{station.Command{Kind: "out-of-service", Alarm: OutletLeak, By: "Ana"}, "give the reason"},
		{station.Command{Kind: "shelve", Alarm: OutletLeak, By: "Ana", Until: t0.Add(hour)}, "give the reason"},
		{station.Command{Kind: "shelve", Alarm: OutletLeak, By: "Ana", Note: "x"}, "is past"},
		{station.Command{Kind: "shelve", Alarm: OutletLeak, By: "Ana", Note: "x", Until: t0}, "is past"},
		{station.Command{Kind: "shelve", Alarm: OutletLeak, By: "Ana", Note: "x", Until: t0.Add(168*hour + 1)}, "outlet-leak may be shelved for 7 d (10080 minutes) at most"},
		{station.Command{Kind: "shelve", Alarm: PressureLeft, By: "Ana", Note: "x", Until: t0.Add(12*hour + 1)}, "pressure-left guards people and may be shelved for 12 h (720 minutes) at most"},
		{station.Command{Kind: "shelve", Alarm: "pressure-returned", By: "Ana", Note: "x", Until: t0.Add(13 * hour)}, "12 h (720 minutes) at most"},
		{station.Command{Kind: "shelve", Alarm: InletPressureLeft, By: "Ana", Note: "x", Until: t0.Add(13 * hour)}, "12 h (720 minutes) at most"},
		{station.Command{Kind: "out-of-service", Alarm: PressureLeft, By: "Ana", Note: "x"}, "never out of service"},
		{station.Command{Kind: "done", By: "Ana", Service: station.ReliefTest, Date: "2025-12-01", Document: "sheet 7: p. 2"}, ""},
		{station.Command{Kind: "done", By: "Ana", Date: "2025-12-01", Document: "sheet 7"}, "what (tank-inspection, relief-test,"},
		{station.Command{Kind: "done", By: "Ana", Service: station.ReliefTest, Date: "2025-12-01", Document: " "}, "reference of the document"},
		{station.Command{Kind: "done", By: "Ana", Service: station.ReliefTest, Date: "2199-12-01", Document: "x"}, "is in the future"},
		{station.Command{Kind: "done", By: "Ana", Note: "relief-test 2025-12-01: sheet 7", Document: "x"}, "a record needs what"},
	} {
		err := Refuse(&c.c, t0, &station.Plate{})
		var refusal *Refusal
		if c.says == "" && err != nil || c.says != "" && (!errors.As(err, &refusal) || !strings.Contains(err.Error(), c.says)) {
			t.Errorf("%+v: %v, want %q", c.c, err, c.says)
		}
	}
}

// The door asks the station's own alarms: what is taken there has an effect.
func TestRefuseGoesByTheStationsOwnLimits(t *testing.T) {
	p := &station.Plate{Alarms: "- {name: outlet-leak, shelve_at_most: 90m}\n- {name: pressure-left, shelve_at_most: 4h}\n"}
	shelve := func(alarm string, minutes int64) *station.Command {
		return &station.Command{Kind: "shelve", Alarm: alarm, By: "Ana", Note: "x", Until: t0.Add(minutes * station.Minute60)}
	}
	for _, c := range []struct {
		alarm   string
		minutes int64
		says    string
	}{
		{OutletLeak, 90, ""}, {OutletLeak, 91, "90 minutes at most"},
		{PressureLeft, 240, ""}, {PressureLeft, 241, "4 h (240 minutes) at most"}, {"gone", 10, "expected one of"},
	} {
		o := shelve(c.alarm, c.minutes)
		err := Refuse(o, t0, p)
		if c.says == "" && err != nil || c.says != "" && (err == nil || !strings.Contains(err.Error(), c.says)) {
			t.Errorf("%s for %d min: %v, want %q", c.alarm, c.minutes, err, c.says)
		}
		if got := NewEvaluator(p, func(*Transition) {}).Command(o, t0); (got == nil) != (err == nil) {
			t.Errorf("%s for %d min: the door says %v, the evaluator %v", c.alarm, c.minutes, err, got)
		}
	}
	if err := Refuse(shelve("gone", 10), t0, p, "gone"); err != nil { // open, of an older configuration
		t.Error(err)
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
