package app

import (
	"path/filepath"
	"testing"
	"time"

	"strokewise/analyzer/station"
	"strokewise/collector/playback"
	"strokewise/dashboards/history"
	"strokewise/deploy/peers"
	"strokewise/rules"
)

// Who is at work comes from the audit: the last word of each person counts, and what had no
// effect is left out.
func TestCommandsOfWorkAreRecalledFromTheHistory(t *testing.T) {
	s, err := history.Open(filepath.Join(t.TempDir(), "history.db"), history.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	began := station.InstantOf(time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC))
	minute := func(n int64) station.Instant { return began.Add(n * station.Minute60) }
	for i, a := range []history.Act{
		{What: "at-work", Target: "north/a", Who: "Ana", Until: minute(60), Detail: "seal: left side"},
		{What: "at-work", Target: "north/a", Who: "Bea", Until: minute(90), Detail: "gauge"},
		{What: "at-work", Target: "north/b", Who: "Cem", Until: minute(90), Detail: "hose"},
		{What: "work-ended", Target: "north/a", Who: "Bea", Detail: ""},
		{What: "work-ended", Target: "north/a", Who: "Ana", Outcome: rules.Outcome{Result: rules.Refused, Reason: "x"}},
		{What: "at-work", Target: "north/a", Who: "ana", Until: minute(120), Detail: "seal: right side"},
		{What: "at-work", Target: "north/a", Who: "Dan", Until: minute(5000), Detail: "x", Outcome: rules.Outcome{Result: rules.Refused, Reason: "too long"}},
		{What: "work-ended", Target: "north/b", Who: "Ana", Detail: "Cem has left"},
	} {
		a.At = minute(int64(i))
		if err := s.AddAct(t.Context(), a); err != nil {
			t.Fatal(err)
		}
	}
	got, err := (&App{store: s}).declared(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	a := got.atWork[station.Key{Site: "north", Station: "a"}]
	if want := (rules.AtWork{Who: "Ana", What: "seal: right side", From: began, Until: minute(120)}); len(a) != 1 || a[0] != want {
		t.Errorf("%+v, want %+v", a, want)
	}
	if b := got.atWork[station.Key{Site: "north", Station: "b"}]; len(b) != 0 {
		t.Errorf("%+v", b)
	}
	if _, err := (&App{store: s}).declared(cancelled()); err == nil {
		t.Error("a history that cannot be read")
	}
}

// Declared work survives a restart, and one without snapshot.
func TestCommandAtWorkSurvives(t *testing.T) {
	broker := peers.Mosquitto(t)
	o := options(t, broker.Addr, "press-4")
	k := station.Key{Site: playback.Site, Station: "press-4"}
	a, stop := running(t, o)
	until := station.InstantOf(time.Now().Add(2 * time.Hour).Truncate(time.Second))
	if _, err := a.Command(t.Context(), k, station.Command{Kind: "at-work", By: "Ana", Note: "seal", Until: until}); err != nil {
		t.Fatal(err)
	}
	settle(t, a)
	check := func(when string) {
		t.Helper()
		s, _ := a.board.Get(k)
		if len(s.AtWork) != 1 || s.AtWork[0].Who != "Ana" || s.AtWork[0].What != "seal" || s.AtWork[0].Until != until {
			t.Errorf("%s: %+v", when, s.AtWork)
		}
	}
	check("declared")
	notes, err := a.store.LastNotes(t.Context(), k, 1)
	if err != nil || len(notes) != 1 || notes[0].Text != "At work until "+until.String()+": seal" {
		t.Errorf("%+v, %v", notes, err)
	}
	stop()
	a, stop = running(t, o)
	check("restarted")
	stop()
	execute(t, o, `DELETE FROM snapshots`)
	a, stop = running(t, o)
	check("worked off again")
	if _, err := a.Command(t.Context(), k, station.Command{Kind: "work-ended", By: "Ana"}); err != nil {
		t.Fatal(err)
	}
	settle(t, a)
	if s, _ := a.board.Get(k); len(s.AtWork) != 0 {
		t.Errorf("ended: %+v", s.AtWork)
	}
	stop()
}
