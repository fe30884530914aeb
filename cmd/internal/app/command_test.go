package app

import (
	"context"
	"errors"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"strokewise/analyzer/station"
	"strokewise/collector/playback"
	"strokewise/collector/samplelog"
	"strokewise/dashboards/history"
	"strokewise/deploy/peers"
	"strokewise/rules"
)

// acts reads the audit of a run that has ended.
func acts(t *testing.T, o Options) []history.Act {
	t.Helper()
	s, err := history.Open(filepath.Join(o.Data, "history.db"), history.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	list, err := s.LastActs(t.Context(), 1000)
	if err != nil {
		t.Fatal(err)
	}
	return list
}

// A command is in the audit once, with what came of it, also after the log was worked off
// again from its beginning.
func TestCommandsAreInTheAuditOnce(t *testing.T) {
	broker := peers.Mosquitto(t)
	o := options(t, broker.Addr, "press-4", "press-5")
	k := station.Key{Site: playback.Site, Station: "press-4"}
	a, stop := running(t, o)
	for _, c := range []station.Command{
		{Kind: "note", By: " Ana ", Note: "hose changed"},
		{Kind: "inspected", By: "Ana", Document: "sheet 12"},
		{Kind: "close", Alarm: rules.OutletLeak, By: "Ana", Cause: station.CauseLeak, Note: "clamp tightened"},
		{Kind: "unshelve", Alarm: rules.OutletLeak, By: "Ana"},
	} {
		if _, err := a.Command(t.Context(), k, c); err != nil {
			t.Fatal(err)
		}
	}
	settle(t, a)
	notes, err := a.store.LastNotes(t.Context(), k, 10)
	if err != nil || len(notes) != 3 || notes[2].Text != "hose changed" || notes[2].Who != "Ana" || notes[1].Text != "Inspection done, document sheet 12" || notes[0].Text != "Alarm outlet-leak: leak: clamp tightened" {
		t.Errorf("%v, %v", notes, err)
	}
	stop()
	if got := acts(t, o); len(got) != 4 || got[3].What != "note" || got[3].Target != k.String() || got[3].Detail != "hose changed" || got[3].Outcome.Result != rules.Done ||
		got[0].Target != k.String()+" outlet-leak" || got[0].Outcome.Result == rules.Done || !strings.Contains(got[0].Outcome.Reason, "not shelved") {
		t.Errorf("%+v", got)
	}
	execute(t, o, `DELETE FROM snapshots`) // all is worked off again
	a, stop = running(t, o)
	if _, err := a.Command(t.Context(), k, station.Command{Kind: "note", By: "Bea", Note: "second"}); err != nil {
		t.Fatal(err)
	}
	settle(t, a)
	stop()
	if got := acts(t, o); len(got) != 5 || got[0].Who != "Bea" {
		t.Errorf("after working the log off again: %+v", got)
	}
}

// refusing is a store whose next commits fail.
type refusing struct {
	Store
	left atomic.Int32
}

func (s *refusing) Commit(ctx context.Context, c []history.Commit) error {
	if s.left.Add(-1) >= 0 {
		return errors.New("the database is locked")
	}
	return s.Store.Commit(ctx, c)
}

// What could not be stored is stored later, once.
func TestACommandOutlivesACommitThatFails(t *testing.T) {
	broker := peers.Mosquitto(t)
	o := options(t, broker.Addr, "press-4")
	o.Every.Commit = 20 * time.Millisecond
	k := station.Key{Site: playback.Site, Station: "press-4"}
	a, stop := running(t, o)
	p := a.parts[k.Partition()]
	p.mu.Lock()
	s := &refusing{Store: p.store}
	p.store = s
	p.mu.Unlock()
	s.left.Store(3)
	if _, err := a.Command(t.Context(), k, station.Command{Kind: "note", By: "Ana", Note: "once"}); err != nil { // done, or not decided within the wait
		t.Fatal(err)
	}
	settle(t, a)
	if left := s.left.Load(); left >= 0 {
		t.Errorf("%d commits did not fail", left)
	}
	stop()
	if got := acts(t, o); len(got) != 1 {
		t.Errorf("%+v", got)
	}
}

func TestCommandsThatAreNotTaken(t *testing.T) {
	broker := peers.Mosquitto(t)
	o := options(t, broker.Addr, "press-4")
	k := station.Key{Site: playback.Site, Station: "press-4"}
	a, stop := running(t, o)
	for _, c := range []struct {
		k    station.Key
		c    station.Command
		says string
	}{
		{k, station.Command{Kind: "note", Note: "x"}, "your name"},
		{k, station.Command{Kind: "acknowledge", Alarm: rules.OutletLeak, By: "Ana"}, "is not open"},
		{station.Key{Site: "x", Station: "y"}, station.Command{Kind: "note", By: "Ana", Note: "x"}, "there is no station"},
	} {
		var refusal *rules.Refusal
		if _, err := a.Command(t.Context(), c.k, c.c); !errors.As(err, &refusal) || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%+v: %v", c.c, err)
		}
	}
	a.board.SetReady(false)
	if _, err := a.Command(t.Context(), k, station.Command{Kind: "note", By: "Ana", Note: "x"}); !errors.Is(err, errStarting) {
		t.Errorf("while starting: %v", err)
	}
	a.board.SetReady(true)
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := a.Command(ctx, k, station.Command{Kind: "note", By: "Ana", Note: "x"}); err == nil || errors.Is(err, samplelog.ErrFull) {
		t.Errorf("a request that went away: %v", err)
	}
	stop()
	if got := acts(t, o); len(got) != 0 {
		t.Errorf("%+v", got)
	}
}
