package app

import (
	"strings"
	"testing"
	"time"

	"strokewise/analyzer/station"
	"strokewise/deploy/peers"
	"strokewise/rules"
)

// decided is the configuration of a plant whose commands are waited for however busy the machine is.
func decided(t *testing.T, n int) Options {
	o := massPlant(t, peers.Mosquitto(t).Addr, "http://127.0.0.1:1", n)
	o.Webhooks = nil
	o.Every.Answer = patience
	return o
}

// A person says "vented" while a live sensor reads 878 kPa: the answer, the audit and the note say
// that it was refused and why; once the outlet was seen to fall the same word is done. The same
// after the log was worked off again.
func TestAWordIsAnsweredWithItsOutcome(t *testing.T) {
	o := decided(t, 1)
	k := o.Stations[0].Plate.Key
	a, stop := running(t, o)
	f := &feeder{t: t, a: a, start: station.InstantOf(time.Now()).Floor(station.Second)}
	f.seconds(30, func(int, int) moment { return moment{600e3, 895e3, 1} })
	f.seconds(40, func(int, int) moment { return moment{0, 878e3, 0} })
	vented := station.Command{Kind: "vented", By: "Ana", Note: "gauge reads 0"}
	got, err := a.Command(t.Context(), k, vented)
	if err != nil || got.Outcome.Result != rules.Refused || !strings.Contains(got.Outcome.Reason, "878 kPa") {
		t.Fatalf("vented at 878 kPa: %+v, %v", got, err)
	}
	stored, err := a.store.ActsAt(t.Context(), got.At)
	if err != nil || len(stored) != 1 || stored[0].Outcome != got.Outcome || stored[0].Detail != "gauge reads 0" {
		t.Errorf("in the audit at the answer: %+v, %v", stored, err)
	}
	notes, err := a.store.LastNotes(t.Context(), k, 9)
	if err != nil || len(notes) != 1 || notes[0].Outcome != got.Outcome {
		t.Errorf("notes at the answer: %+v, %v", notes, err)
	}
	f.seconds(10, func(_, s int) moment { return moment{0, 878e3 - 87.8e3*float64(s), 0} })
	f.seconds(5, func(int, int) moment { return moment{0, 0, 0} })
	if got, err = a.Command(t.Context(), k, vented); err != nil || got.Outcome != (rules.Outcome{Result: rules.Done}) {
		t.Errorf("vented at 0: %+v, %v", got, err)
	}
	stop()
	execute(t, o, `DELETE FROM snapshots`)
	_, stop = running(t, o)
	stop()
	list := acts(t, o)
	if len(list) != 2 || list[1].Outcome != stored[0].Outcome || list[0].Outcome.Result != rules.Done {
		t.Errorf("after the log was worked off again: %+v", list)
	}
}

// A command about a header is decided by another writer, later: its outcome comes to the answer,
// and to the line of the audit that was stored before.
func TestAHeaderAnswersToo(t *testing.T) {
	o := decided(t, 3)
	h := o.Stations[0].Plate.HeaderKey()
	a, stop := running(t, o)
	defer stop()
	f := &feeder{t: t, a: a, start: station.InstantOf(time.Now()).Floor(station.Second)}
	f.seconds(30, func(int, int) moment { return moment{600e3, 895e3, 1} })
	for _, c := range []struct {
		word station.Command
		want rules.Result
	}{
		{station.Command{Kind: "note", By: "Ana", Note: "compressor 2 off"}, rules.Done},
		{station.Command{Kind: "unshelve", Alarm: rules.HeaderLow, By: "Ana"}, rules.Refused},
	} {
		got, err := a.Command(t.Context(), h, c.word)
		if err != nil || got.Outcome.Result == rules.NoResult || (got.Outcome.Result == rules.Done) != (c.want == rules.Done) {
			t.Errorf("%s: %+v, %v", c.word.Kind, got, err)
		}
		stored, err := a.store.ActsAt(t.Context(), got.At)
		if err != nil || len(stored) != 1 || stored[0].Outcome != got.Outcome {
			t.Errorf("%s in the audit: %+v, %v", c.word.Kind, stored, err)
		}
	}
	if notes, err := a.store.LastNotes(t.Context(), h, 9); err != nil || len(notes) != 1 || notes[0].Outcome.Result != rules.Done {
		t.Errorf("%+v, %v", notes, err)
	}
}

// A partition that cannot store what became of a command leaves the command in the log, and the
// answer without an outcome.
func TestAWordThatIsNotDecidedInTime(t *testing.T) {
	o := decided(t, 1)
	o.Every.Answer = time.Millisecond
	k := o.Stations[0].Plate.Key
	a, stop := running(t, o)
	defer stop()
	p := a.parts[k.Partition()]
	p.mu.Lock() // nothing is worked off
	got, err := a.Command(t.Context(), k, station.Command{Kind: "note", By: "Ana", Note: "x"})
	p.mu.Unlock()
	if err != nil || got.Outcome.Result != rules.NoResult || got.At == 0 {
		t.Errorf("%+v, %v", got, err)
	}
	waitFor(t, "the outcome in the audit", func() bool {
		stored, err := a.store.ActsAt(t.Context(), got.At)
		return err == nil && len(stored) == 1 && stored[0].Outcome.Result == rules.Done
	})
}
