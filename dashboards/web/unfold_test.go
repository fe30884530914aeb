package web

import (
	"html/template"
	"math"
	"strings"
	"testing"
	"time"

	"strokewise/dashboards/board"
	"strokewise/rules"
)

// part returns what stands between two marks of a page.
func part(t *testing.T, body, from, to string) string {
	t.Helper()
	_, rest, ok := strings.Cut(body, from)
	inside, _, closed := strings.Cut(rest, to)
	if !ok || !closed {
		t.Fatalf("no part from %q to %q:\n%s", from, to, body)
	}
	return inside
}

// Causes, runbook and what to check first are folded out at the alarm, on the station's page and on
// the page of its forms; the card of the station stays short.
func TestWhatIsKnownOfAnAlarmStandsBesideIt(t *testing.T) {
	o := everything()
	o.Command = (&taken{}).take
	h := New(o)
	d, _ := rules.DefinitionOf(shutDown().Plate.Key, rules.PressureLeft)
	for _, path := range []string{"/station/northdock/weld-1", "/station/northdock/weld-1/command"} {
		one := part(t, get(h, path).Body.String(), `data-alarm="pressure-left"`, "</li>\n</ul>\n</section>")
		for _, want := range append([]string{"<summary>Consequence, causes and runbook</summary>", d.Consequence, d.Runbook, d.CheckFirst, d.RespondIn, rules.CautionStored}, d.Causes...) {
			if !strings.Contains(one, template.HTMLEscapeString(want)) && !strings.Contains(one, want) {
				t.Errorf("%s: no %q:\n%s", path, want, one)
			}
		}
	}
	if b := get(h, "/").Body.String(); strings.Contains(b, "causes and runbook") {
		t.Error("the page of stations holds runbooks")
	}
}

// An alarm on stored pressure is shelved in a step of its own, with a reason and a caution; a leak
// beside being acknowledged.
func TestAnAlarmThatGuardsPeopleIsShelvedInAStepOfItsOwn(t *testing.T) {
	o := everything()
	o.Command = (&taken{}).take
	h := New(o)
	page := get(h, "/station/northdock/weld-1").Body.String()
	if strings.Contains(page, `value="shelve`) || !strings.Contains(page, `<a href="../../station/northdock/weld-1/command#shelve-pressure-left">Shelve it</a>`) {
		t.Errorf("the station's page:\n%s", page)
	}
	page = get(h, "/station/northdock/weld-1/command").Body.String()
	step := part(t, page, `<section id="shelve">`, "</section>")
	for _, want := range []string{`<h3 id="shelve-pressure-left">`, template.HTMLEscapeString(cautionShelving), `value="shelve 60"`, `value="shelve 480"`, `name="why" value="" required`} {
		if !strings.Contains(step, want) {
			t.Errorf("the step has no %q:\n%s", want, step)
		}
	}
	if strings.Contains(step, `value="acknowledge"`) || strings.Count(page, `value="shelve 60"`) != 1 {
		t.Errorf("shelved beside another button:\n%s", page)
	}
	if page = get(h, "/station/northdock/press-4").Body.String(); !strings.Contains(page, `value="shelve 60" aria-label="Shelve for 1 h: outlet-leak"`) {
		t.Error("a leak is not shelved beside being acknowledged")
	}
}

// Whatever the message said when the alarm was raised, the page says what is read now.
func TestAnAlarmShowsWhatIsReadNow(t *testing.T) {
	s := shutDown()
	s.Alarms[0].Transition.Message = "The outlet still reads 983 kPa gauge."
	s.Alarms[0].Progress = &rules.Progress{Quantity: "outlet_pressure", Raised: 983e3, Now: 905e3, At: at(-time.Second), Slope: -4e3 / 60, Message: "The outlet still reads 905 kPa gauge."}
	o := fixture(s)
	o.Command = (&taken{}).take
	for _, path := range []string{"/", "/station/northdock/weld-1", "/station/northdock/weld-1/command"} {
		b := get(New(o), path).Body.String()
		if !strings.Contains(b, "983 kPa gauge when raised, 905 now, falling 4.0 kPa/min (at 2026-03-02 11:59:59 UTC)") || !strings.Contains(b, "still reads 905") || strings.Contains(b, "still reads 983") {
			t.Errorf("%s:\n%s", path, b)
		}
	}
	var v alarmView
	v.progress(&rules.Progress{Raised: math.NaN(), Now: math.NaN(), Slope: math.NaN(), At: at(0)})
	if v.Read != "" || v.Now != "" {
		t.Errorf("of nothing known: %+v", v)
	}
	if a := alarm(&board.Alarm{Transition: rules.Transition{Message: "m"}}); a.Read != "" || a.Message != "m" {
		t.Errorf("without a reading: %+v", a)
	}
}
