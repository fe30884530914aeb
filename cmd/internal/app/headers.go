package app

import (
	"bytes"
	"context"
	"fmt"
	"log/slog"
	"slices"
	"sync"
	"time"

	"strokewise/analyzer/station"
	"strokewise/cmd/internal/health"
	"strokewise/dashboards/board"
	"strokewise/dashboards/history"
	"strokewise/rules"
)

const (
	headerVersion = "1" // of the stored states
	headerEvery   = 250 * time.Millisecond
	headerBatch   = 5000                // inputs read at once
	lagAllowed    = 30 * station.Second // a station that is further behind holds nothing up
	holdSpare     = 60 * station.Second // beyond the hold-off people are told whatever became of the header
)

// HeaderStore is what the alarms of headers need of the history.
type HeaderStore interface {
	HeaderInputs(ctx context.Context, seq int64, limit int) ([]history.HeaderInput, error)
	HeaderStates(ctx context.Context) ([]history.HeaderState, error)
	OpenAlarms(ctx context.Context) ([]rules.Transition, error)
	ExplainedAlarms(ctx context.Context) ([]history.Explained, error)
	CommitHeaders(ctx context.Context, c *history.HeaderCommit) error
}

// headers is the only writer of the alarms of headers. What it decides by was stored with
// what the partitions concluded; it takes that in order of event time, and stores what it
// concludes, and its state, in a transaction of its own.
type headers struct {
	store    HeaderStore
	board    *board.Board
	log      *slog.Logger
	wake     func() // the outbox has something new
	policies map[string]rules.HeaderPolicy
	nudged   chan struct{}
	answers  *answers
	health   *health.Part
	now      func() time.Time // the program's time

	mu     sync.Mutex
	open   map[station.Key]*headerUnit
	read   int64 // newest input that was taken
	stored int64 // newest input whose effects are stored
	out    history.HeaderCommit
	failed quiet

	stale []history.Explained // not in any usable state

	speak func() error // nil: always

	granted, held given // by sites to stations, see overtime; by headers, see hold
}

// headerUnit is a header with what the pages show of it.
type headerUnit struct {
	*rules.Header
	key     station.Key
	alarms  []board.Alarm
	changed bool // since it was stored
}

func newHeaders(store HeaderStore, b *board.Board, policies map[string]rules.HeaderPolicy, log *slog.Logger, wake func(), answers *answers) *headers {
	return &headers{answers: answers, store: store, board: b, log: log, wake: wake, policies: policies, nudged: make(chan struct{}, 1), open: make(map[station.Key]*headerUnit), granted: given{}, held: given{}}
}

// policy gives that of a site.
func (h *headers) policy(site string) rules.HeaderPolicy {
	if p, ok := h.policies[site]; ok {
		return p
	}
	return rules.UsualHeader
}

// begin takes up the stored states. One of another program is begun anew from the alarms
// that stand.
func (h *headers) begin(ctx context.Context) error {
	h.mu.Lock()
	defer h.mu.Unlock()
	states, err := h.store.HeaderStates(ctx)
	if err != nil {
		return err
	}
	for i := range states {
		s := &states[i]
		if s.Version != headerVersion+"/"+rules.Schema {
			h.log.Info("a header's state is of another version of the program: its open alarms go on, what was watched beside them begins anew", "header", s.Key.String())
			continue
		}
		u := &headerUnit{key: s.Key}
		if u.Header, err = rules.RestoreHeader(bytes.NewReader(s.State), s.Key, h.policy(s.Key.Site), h.transition, h.judgement); err == nil {
			u.Header.Answered = h.answered(s.Key)
			h.open[s.Key] = u
			continue
		}
		h.log.Warn("the state of a header's alarms is not usable, beginning anew", "header", s.Key.String(), "error", err)
	}
	open, err := h.store.OpenAlarms(ctx)
	if err != nil {
		return err
	}
	for i := range open {
		if _, ok := open[i].Key.Header(); !ok {
			continue
		}
		u, known := h.open[open[i].Key]
		if !known {
			u = h.unit(open[i].Key)
			u.Adopt(open[i : i+1])
			u.changed = true
		}
		u.alarms = append(u.alarms, board.Alarm{Transition: open[i], State: open[i].To})
	}
	for _, u := range h.open {
		h.show(u)
	}
	h.stale, err = h.store.ExplainedAlarms(ctx)
	return err
}

func (h *headers) unit(k station.Key) *headerUnit {
	u := h.open[k]
	if u == nil {
		u = &headerUnit{key: k, Header: rules.NewHeader(k, h.policy(k.Site), h.transition, h.judgement)}
		u.Header.Answered = h.answered(k)
		h.open[k] = u
	}
	return u
}

func (h *headers) transition(t *rules.Transition) { h.out.Transitions = append(h.out.Transitions, *t) }

// answered returns what keeps the outcomes of commands about a header for its next commit.
func (h *headers) answered(k station.Key) func(*station.Command, station.Instant, rules.Outcome) {
	return func(c *station.Command, at station.Instant, o rules.Outcome) {
		h.out.Decided = append(h.out.Decided, history.Decided{Key: k, Act: history.Act{At: at, Who: c.By, What: c.Kind, Target: history.Target(k, c.Alarm), Outcome: o}})
	}
}

func (h *headers) judgement(j rules.Judgement) { h.out.Judgements = append(h.out.Judgements, j) }

// know takes the stations in that are configured: those that no input told of yet, and
// those that hang on another header now.
func (h *headers) know(feeds map[station.Key]map[string]rules.FeedState) {
	h.mu.Lock()
	defer h.mu.Unlock()
	for k, stations := range feeds {
		u := h.unit(k)
		_, shown := h.board.Header(k)
		for id, s := range stations {
			if u.Seed(id, s) {
				u.changed, shown = true, false
				h.adopt(u, id)
			}
		}
		if !shown {
			h.show(u)
		}
	}
	h.stale = nil
	for k, u := range h.open {
		for _, id := range u.Stations() {
			if _, ok := feeds[k][id]; !ok {
				u.Forget(id)
				u.changed = true
			}
		}
		if u.Orphan() {
			u.changed = true
		}
	}
}

// busy tells whether a header waits for time to pass, or for being stored.
func (h *headers) busy() bool {
	h.mu.Lock()
	defer h.mu.Unlock()
	waits := h.read != h.stored || h.concluded()
	for _, u := range h.open {
		waits = waits || u.Busy()
	}
	return waits
}

// adopt takes up what nobody was told of at a station that the state did not know.
func (h *headers) adopt(u *headerUnit, id string) {
	for i := range h.stale {
		if e := &h.stale[i]; e.Key.Site == u.key.Site && e.Key.Station == id {
			u.AdoptExplained(id, e.Alarm, e.Raised, e.Seq, e.Active)
		}
	}
}

// nudge says that there is something new.
func (h *headers) nudge() {
	select {
	case h.nudged <- struct{}{}:
	default:
	}
}

// run works until ctx ends.
func (h *headers) run(ctx context.Context) {
	t := time.NewTicker(headerEvery)
	defer t.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-t.C:
			if !h.busy() {
				h.health.Works()
				continue
			}
		case <-h.nudged:
		}
		err := h.step(ctx, h.now())
		if ctx.Err() == nil {
			h.health.Report(err)
		}
		if err != nil && ctx.Err() == nil && h.failed.due(time.Now()) {
			h.log.Warn("cannot store the alarms of headers, trying again; nothing is lost meanwhile", "error", err)
		}
	}
}

// step takes what is new, decides up to where nothing more comes, and stores that. The marks
// are read before the inputs: then every input up to them is stored already.
func (h *headers) step(ctx context.Context, now time.Time) error {
	if h.speak != nil {
		if err := h.speak(); err != nil {
			return err
		}
	}
	h.mu.Lock()
	defer h.mu.Unlock()
	marks := h.marks()
	for more := true; more; {
		list, err := h.store.HeaderInputs(ctx, h.read, headerBatch)
		if err != nil {
			return err
		}
		for i := range list {
			u := h.unit(list[i].Header)
			u.Push(list[i].HeaderInput)
			u.changed = true
			h.read = list[i].Seq
		}
		more = len(list) == headerBatch
	}
	floor := station.InstantOf(now).Add(-lagAllowed)
	for k, u := range h.open {
		busy := u.Busy()
		u.changed = u.changed || busy
		u.Advance(max(marks[k], floor))
	}
	return h.commit(ctx)
}

// marks gives up to where each header's stations have been decided. Stations that are
// silent or far behind hold nothing up.
func (h *headers) marks() map[station.Key]station.Instant {
	out := make(map[station.Key]station.Instant, len(h.open))
	h.board.Each(func(s *board.Station) {
		if s.Gone || s.Status.At == 0 || s.SilentSince != 0 || s.LagNs > lagAllowed {
			return
		}
		k := s.Plate.HeaderKey()
		if at, ok := out[k]; !ok || s.Status.At < at {
			out[k] = s.Status.At
		}
	})
	return out
}

// concluded reports whether there is something to store.
func (h *headers) concluded() bool {
	return len(h.out.Transitions)+len(h.out.Judgements)+len(h.out.Decided) > 0
}

// commit stores what was concluded, if it was anything, and shows it.
func (h *headers) commit(ctx context.Context) error {
	if h.read == h.stored && !h.concluded() {
		return nil
	}
	h.out.Taken, h.out.States = h.read, h.out.States[:0]
	for k, u := range h.open {
		if !u.changed {
			continue
		}
		var b bytes.Buffer
		if err := u.Save(&b); err != nil {
			return fmt.Errorf("cannot store the alarms of headers: %w", err)
		}
		h.out.States = append(h.out.States, history.HeaderState{Key: k, Version: headerVersion + "/" + rules.Schema, State: b.Bytes()})
	}
	if err := h.store.CommitHeaders(ctx, &h.out); err != nil {
		return err
	}
	for i := range h.out.Transitions {
		t := &h.out.Transitions[i]
		u := h.unit(t.Key)
		u.alarms = withTransition(u.alarms, t)
	}
	for _, u := range h.open {
		if u.changed {
			h.show(u)
			u.changed = false
		}
	}
	for i := range h.out.Decided {
		h.answers.stored([]history.Act{h.out.Decided[i].Act})
	}
	h.stored = h.read
	h.out = history.HeaderCommit{Told: h.out.Told}
	h.wake()
	return nil
}

// show puts the header on the board.
func (h *headers) show(u *headerUnit) {
	out := board.Header{Key: u.key, Gone: u.Gone(), Alarms: slices.Clone(u.alarms), Under: u.Under(), Kept: map[board.Kept]bool{}}
	u.Kept(func(id, alarm string, raised station.Instant) {
		out.Kept[board.Kept{Station: id, Alarm: alarm, Raised: raised}] = true
	})
	h.board.PutHeader(out)
}

// withTransition gives a list of open alarms after a transition. What a person did to an alarm
// says nothing new of it: the words of its last transition stay.
func withTransition(list []board.Alarm, t *rules.Transition) []board.Alarm {
	kept := list[:0:0]
	now := board.Alarm{Transition: *t, State: t.To}
	for _, a := range list {
		if a.Transition.Alarm != t.Alarm {
			kept = append(kept, a)
		} else if t.Message == "" && a.Transition.Raised == t.Raised {
			now.Transition.Message = a.Transition.Message
		}
	}
	if t.To != rules.Normal {
		kept = append(kept, now)
	}
	return kept
}
