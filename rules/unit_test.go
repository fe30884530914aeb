package rules

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"strokewise/analyzer/station"
)

// heard are texts by what they are about: an alarm, or a refused command.
type heardTexts map[string][]string

func (h heardTexts) add(about string, texts ...string) { h[about] = append(h[about], texts...) }

// transition adds all that people read of a transition.
func (h heardTexts) transition(t *Transition) {
	h.add(t.Alarm, t.Said(), t.Reason(), t.Caution)
	for i := range t.Evidence {
		h.add(t.Alarm, t.Evidence[i].String())
	}
}

// listen plays every rule script at stations of a site that reads pressures in a unit, and returns
// what people are told: of transitions, of alarms as they stand, and of refused commands.
func listen(t *testing.T, in station.Reading) heardTexts {
	files, err := filepath.Glob("scripts/*.yaml")
	if err != nil || len(files) == 0 {
		t.Fatalf("no scripts: %v", err)
	}
	h := heardTexts{}
	for _, file := range files {
		text, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		scripts, err := readScripts(file, text)
		if err != nil {
			t.Fatal(err)
		}
		for i := range scripts {
			listenTo(&scripts[i], in, h)
		}
	}
	listenToHeader(in, h)
	listenToDoubts(in, h)
	return h
}

func listenTo(s *script, in station.Reading, h heardTexts) {
	plate := s.plateOf()
	plate.Reading = in
	var v *Evaluator
	v = NewEvaluator(&plate, func(t *Transition) {
		h.transition(t)
		if r, ok := v.Now(t.Alarm); ok {
			h.add(t.Alarm, r.String(), r.Message)
		}
	})
	st, said := newScripted(s), 0
	for now := int64(0); now <= s.expect[len(s.expect)-1].at; now += s.step {
		st.step(v, now)
		for ; said < len(s.says) && s.says[said].at <= now; said++ {
			c := s.says[said].command
			if s.says[said].until != 0 {
				c.Until = scriptStart.Add(s.says[said].until)
			}
			if err := v.Command(&c, scriptStart.Add(now)); err != nil {
				h.add("refused "+c.Kind, err.Error())
			}
		}
	}
}

func listenToHeader(in station.Reading, h heardTexts) {
	policy := UsualHeader
	policy.Reading = in
	x := NewHeader(station.HeaderKey("north", "main"), policy, h.transition, func(Judgement) {})
	for _, i := range cascade() {
		x.Push(i)
	}
	x.Advance(sec(3600))
}

// listenToDoubts makes a station blind for the reasons that name a pressure.
func listenToDoubts(in station.Reading, h heardTexts) {
	for _, is := range []station.ReasonKind{station.ReadingStepped, station.ZeroOff, station.ZeroDrifted} {
		g := newStage(station.Plate{Reading: in})
		g.play(120, func(i int, s *station.Status) {
			if s.State = station.Holding; i >= 60 {
				s.State, s.StateReason = station.Blind, station.StateReason{Is: is, Sides: station.OutletSide, Value: 30e3, Was: 10e3, At: t0}
				s.Outlet = station.Unknown("blind: " + s.StateReason.In(in))
			}
		})
		for i := range g.got {
			h.transition(&g.got[i])
		}
	}
}

// Whatever people read of an alarm or a refused command has its pressures in the unit of the site.
// Source: the same scripts at a site that reads kPa; what names that unit there names the other one here.
func TestMessagesAreInTheUnitOfTheSite(t *testing.T) {
	kpa := listen(t, station.ReadKPa)
	for _, d := range all() {
		if len(kpa[d.Name]) == 0 && d.Name != OverTime { // whose words hold no pressure
			t.Errorf("no script brings a word on %s", d.Name)
		}
	}
	for _, in := range []station.Reading{station.ReadBar, station.ReadPSI} {
		other := listen(t, in)
		for about, texts := range kpa {
			if len(other[about]) != len(texts) {
				t.Fatalf("%s: %d texts in kPa, %d in %s", about, len(texts), len(other[about]), in)
			}
			for i, text := range texts {
				got := other[about][i]
				if strings.Contains(got, "kPa") || strings.Contains(text, "kPa") && !strings.Contains(got, " "+in.String()) {
					t.Errorf("%s, in %s: %s", about, in, got)
				}
			}
		}
	}
	if n := len(kpa["refused vented"]); n == 0 || !strings.Contains(fmt.Sprint(kpa["refused vented"]), "kPa gauge") {
		t.Errorf("%d refusals of vented: %v", n, kpa["refused vented"])
	}
}

// What is composed by code reads like the catalogue: no dialect, nothing that calls a line safe, no
// figure with a sign where words have it. Source: the same expressions as for the catalogue.
func TestWhatPeopleReadIsPlain(t *testing.T) {
	for about, texts := range listen(t, station.ReadKPa) {
		for _, text := range texts {
			if m := dialect.FindString(text); m != "" {
				t.Errorf("%s: %q in %q", about, m, text)
			}
			if m := claim.FindString(text); m != "" {
				t.Errorf("%s: %q in %q claims what nobody here can know", about, m, text)
			}
		}
	}
}

// A figure below zero is in words. Source: 1 - 0.88 = 12 %, 1.15 - 1 = 15 %.
func TestFiguresWithASignAreInWords(t *testing.T) {
	g := newStage(station.Plate{Reading: station.ReadBar})
	e := &g.s.Estimates
	e[station.EfficiencyChange], e[station.CountMismatch], e[station.SetShift] = known(-0.12), known(-0.15), known(-50e3)
	g.play(1, nil)
	for got, want := range map[string]string{
		g.v.deliveryChanged():    "A stroke delivers 12 % less than usual",
		g.v.countCompared():      "The counter counts too many strokes: the pressure readings show 15 % fewer",
		g.v.setMoved():           "0.50 bar lower than usual",
		leftOf(-1, "day", ""):    "overdue by 1 day",
		leftOf(0, "day", "due "): "due today",
		leftOf(5, "day", "due "): "due in 5 days",
	} {
		if got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
}

// What has ended is not worded as if it stood. Source: the outlet is below the limit then.
func TestAnEndIsNoRaise(t *testing.T) {
	g := newStage(station.Plate{TankPS: 1000e3})
	g.play(5, func(_ int, s *station.Status) { s.Outlet = known(1100e3) })
	g.play(2, func(_ int, s *station.Status) { s.Outlet = known(900e3) })
	i := slices.IndexFunc(g.got, func(t Transition) bool { return t.Alarm == OverPressure && t.To == ReturnedUnacknowledged })
	if i < 0 || !strings.Contains(g.got[i].Message, "900 kPa gauge, below the limit of 1000 kPa gauge again") {
		t.Errorf("%+v", g.got)
	}
}
