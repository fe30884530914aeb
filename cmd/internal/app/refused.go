package app

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"strokewise/analyzer/station"
	"strokewise/collector/clock"
	"strokewise/collector/intake"
	"strokewise/collector/letters"
	"strokewise/collector/payload"
	"strokewise/dashboards/board"
	"strokewise/dashboards/history"
	"strokewise/dashboards/web"
	"strokewise/rules"
)

// Sums implements web.Refusals.
func (a *App) Sums(ctx context.Context) ([]board.RefusedSum, error) {
	list, err := a.letters.Sums(ctx)
	out := make([]board.RefusedSum, len(list))
	for i := range list {
		m := &list[i]
		out[i] = board.RefusedSum{Reason: string(m.Label), Messages: m.Messages, Bytes: m.Bytes, Oldest: m.Oldest, Newest: m.Newest}
	}
	return out, err
}

// Latest implements web.Refusals.
func (a *App) Latest(ctx context.Context, reason string, most int) ([]board.Refused, error) {
	list, err := a.letters.Latest(ctx, letters.Label(reason), most)
	out := make([]board.Refused, len(list))
	for i := range list {
		l := &list[i]
		out[i] = board.Refused{At: l.Arrival, Topic: cut(l.Topic), Reason: reason, Detail: l.Detail, Payload: cut(string(l.Payload[:min(len(l.Payload), shownBytes)])), Size: l.Size}
		if l.Held {
			out[i].Detail = waitingText[l.Label]
		}
	}
	return out, err
}

// waitingText is why a message waits, in words.
var waitingText = map[letters.Label]string{
	waitsForClock: "waits until our own clock is right",
	waitsForOlder: "waits until older messages of its station are in",
}

// shownBytes is how much is shown of topic and payload each, bytes.
const shownBytes = 200

// cut returns the beginning of s with what is not printable quoted.
func cut(s string) string {
	q := strconv.Quote(s[:min(len(s), shownBytes)])
	return q[1 : len(q)-1]
}

// TrustClock implements web.Refusals: a person's word that our clock is right.
func (a *App) TrustClock(ctx context.Context, who string) error {
	a.ticking.Lock()
	was := a.clock.State()
	a.clock.Trust(time.Now())
	a.ticking.Unlock()
	a.judge(ctx)
	return a.acted(ctx, who, "trust clock", "", "was "+was.String())
}

// Discard implements web.Refusals.
func (a *App) Discard(ctx context.Context, who, reason string) (int64, error) {
	a.passing.Lock()
	defer a.passing.Unlock()
	n, err := a.letters.Discard(ctx, letters.Label(reason))
	if err != nil {
		return 0, err
	}
	return n, a.acted(ctx, who, "discard refused", reason, fmt.Sprintf("%d messages", n))
}

func (a *App) acted(ctx context.Context, who, what, target, detail string) error {
	return a.store.AddAct(ctx, history.Act{At: a.now(), Who: strings.TrimSpace(who), What: what, Target: target, Detail: detail})
}

// takeFor bounds one call of Take, whose answer says where to go on.
const takeFor = 10 * time.Second

// errPart ends a pass that goes on in another call.
var errPart = errors.New("as much as one call takes")

// Take implements web.Refusals. Messages that are accepted now go into the log in the order of their
// arrival. Those whose station has newer samples already come too late for the analyzer, which goes
// forward only: they stay, as do those that are still refused.
func (a *App) Take(ctx context.Context, who, reason string, after uint64) (web.Taken, error) {
	var t web.Taken
	label := letters.Label(reason)
	if label == letters.Held {
		return t, &rules.Refusal{Text: "messages that wait are accepted by themselves, as soon as what they wait for is there; strokewise refused trust says that our clock is right"}
	}
	if a.clock.State() == clock.Unsure {
		return t, &rules.Refusal{Text: "our own clock is in doubt: mend it first"}
	}
	a.passing.Lock()
	defer a.passing.Unlock()
	newest := make(map[station.Key]station.Instant)
	late := a.lateSamples()
	until, still := time.Now().Add(takeFor), make(map[letters.Label]bool)
	p := a.newPass(func(l *letters.Letter, _ letters.Label, taken *intake.Taken, r *payload.Refusal) (bool, error) {
		switch {
		case l.Position <= after:
			return false, nil
		case time.Now().After(until):
			t.More = true
			return false, errPart
		}
		t.Next = l.Position
		switch {
		case r != nil:
			t.Refused++
			still[letters.Label(r.Reason)] = true
			return false, nil
		case len(taken.Lost) > 0: // it stays for the readings that are lost still
			t.Refused++
			still[letters.Label(taken.Lost[0].Reason)] = true
			return false, nil
		case a.late(newest, taken):
			t.Late++
			return false, nil
		}
		return true, nil
	})
	err := p.run(ctx, []letters.Label{label})
	if errors.Is(err, errPart) {
		err = p.remove(ctx)
	}
	t.Accepted = p.accepted
	for x := range still {
		t.Still = append(t.Still, string(x))
	}
	slices.Sort(t.Still)
	if err != nil {
		return t, err
	}
	if p.accepted > 0 {
		if err := a.conclude(ctx); err != nil {
			return t, err
		}
		t.LateSamples = a.lateSamples() - late
	}
	return t, a.acted(ctx, who, "take refused", reason, fmt.Sprintf("%d accepted, %d too late, %d still refused", t.Accepted, t.Late, t.Refused))
}

// late reports whether all samples of a message lie before what their stations had concluded when the
// first message of each was asked about.
func (a *App) late(newest map[station.Key]station.Instant, t *intake.Taken) bool {
	late := true
	t.Each(func(rec *station.Record) {
		at, ok := newest[rec.Key]
		if !ok {
			if b, known := a.board.Get(rec.Key); known {
				at = b.Status.At
			}
			newest[rec.Key] = at
		}
		for i := range rec.Blocks {
			if b := &rec.Blocks[i]; b.Len() > 0 && b.At(b.Len()-1) > at {
				late = false
			}
		}
	})
	return late
}

// lateSamples returns how many samples came too late, of all stations.
func (a *App) lateSamples() (n int64) {
	a.board.Each(func(s *board.Station) { n += s.Late })
	return n
}

// letterFigures adds the figures of our clock and of messages that were not accepted.
func (a *App) letterFigures(out *board.Pipeline) {
	f := a.letters.Figures()
	out.ClockDoubted, out.ClockDoubts = a.clock.State() != clock.Trusted, a.clock.Doubts()
	out.Waiting, out.RefusedKept, out.RefusedLost, out.RefusedDropped = a.waiting.Load(), f.Kept, f.Lost, f.Dropped
}
