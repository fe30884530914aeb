package app

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"strokewise/analyzer/station"
	"strokewise/collector/clock"
	"strokewise/collector/intake"
	"strokewise/collector/letters"
	"strokewise/collector/mqtt"
	"strokewise/collector/payload"
)

// errTime ends a pass while our clock is in doubt again.
var errTime = errors.New("our own clock is in doubt again")

// openLetters opens the store of letters. What waits there passes before anything newer.
func (a *App) openLetters(ctx context.Context) (err error) {
	a.letters, err = letters.Open(ctx, letters.Options{Log: a.samples, MaxBytes: cmp.Or(a.opt.Refused, int64(usualRefused)), Logger: a.log})
	if err != nil {
		return err
	}
	n, err := a.letters.Waiting(ctx)
	if a.waiting.Store(n); n > 0 {
		a.log.Info("messages of before the start wait to be accepted", "messages", n)
		a.gate.close()
	}
	return err
}

// take hands one message on: to the log, to those that wait, or to the refused ones. It is
// acknowledged when it is stored there; a refused one too, since it would come again for ever.
func (a *App) take(ctx context.Context, m mqtt.Message, site string) {
	at, mono, state := a.clock.At(m.Arrival)
	taken, refusal := a.intake.Decide(&intake.Message{Topic: m.Topic, Payload: m.Payload, Retained: m.Retained, Backlog: m.Backlog, Arrival: at, Site: site})
	if refusal == nil || intake.OfClock(refusal) {
		if wait := a.waits(&taken, state == clock.Unsure); wait != "" {
			l := a.letter(&m, site, at, mono)
			l.Held, l.Label = true, wait
			a.wait(ctx, l, m.Ack)
			return
		}
	}
	if refusal != nil {
		a.intake.Refuse(refusal)
		a.refuseLetter(ctx, &m, site, at, mono, refusal, m.Ack)
		return
	}
	if len(taken.More) == 0 && len(taken.Lost) == 0 && len(taken.Blocks) > 0 { // nearly all
		_ = a.batch.Add(ctx, taken.Record, len(m.Payload)+8*taken.Samples(), m.Ack) // fails only at the end, unacknowledged
		return
	}
	a.takeParts(ctx, &m, &taken, site, at, mono)
}

// takeParts hands on a message that is no single record. It is acknowledged with the last of what came
// of it; the batcher keeps the order.
func (a *App) takeParts(ctx context.Context, m *mqtt.Message, taken *intake.Taken, site string, at station.Instant, mono int64) {
	taken.Each(func(r *station.Record) { _ = a.batch.Add(ctx, *r, 8*r.Samples(), nil) })
	if len(taken.Lost) == 0 {
		_ = a.batch.Add(ctx, station.Record{}, len(m.Payload), m.Ack)
		return
	}
	for _, r := range taken.Lost {
		a.intake.Refuse(r)
	}
	a.refuseLetter(ctx, m, site, at, mono, taken.Lost[0], m.Ack)
}

// refuseLetter keeps a message that is refused, or of which readings are lost.
func (a *App) refuseLetter(ctx context.Context, m *mqtt.Message, site string, at station.Instant, mono int64, r *payload.Refusal, ack func()) {
	l := a.letter(m, site, at, mono)
	l.Label, l.Detail = letters.Label(r.Reason), r.Detail
	_ = a.batch.AddLetter(ctx, l, ack)
}

// waits returns what a message waits for, "" where it can pass: for the slowest of its stations.
func (a *App) waits(t *intake.Taken, unsure bool) letters.Label {
	wait := a.gate.waits(t.Key, unsure)
	for i := range t.More {
		if wait == "" {
			wait = a.gate.waits(t.More[i].Key, unsure)
		}
	}
	return wait
}

func (a *App) letter(m *mqtt.Message, site string, at station.Instant, mono int64) letters.Letter {
	return letters.Letter{Topic: m.Topic, Site: site, Payload: m.Payload, Size: len(m.Payload), Arrival: at, Mono: mono, Run: a.run, Retained: m.Retained, Backlog: m.Backlog}
}

// wait stores a letter that waits.
func (a *App) wait(ctx context.Context, l letters.Letter, ack func()) {
	done := func() {
		a.gate.stored()
		ack()
	}
	if a.batch.AddLetter(ctx, l, done) != nil {
		a.gate.stored()
	}
}

// tooLarge keeps that a message was turned away for its size; there is no more of it.
func (a *App) tooLarge(topic string, size int64, site string) {
	at, mono, _ := a.clock.At(time.Now())
	r := a.intake.Discarded(size)
	a.batch.TryLetter(letters.Letter{Label: letters.Label(r.Reason), Detail: r.Detail, Topic: topic, Site: site, Size: int(size), Cut: true, Arrival: at, Mono: mono, Run: a.run})
}

// again returns what comes of a letter as the mapping and the time are known now, or why it is refused.
func (a *App) again(l *letters.Letter) (intake.Taken, *payload.Refusal) {
	if l.Cut {
		return intake.Taken{}, &payload.Refusal{Reason: intake.TooLarge, Detail: fmt.Sprintf("only the beginning of its %d bytes is kept", l.Size)}
	}
	m := intake.Message{Topic: l.Topic, Payload: l.Payload, Retained: l.Retained, Backlog: l.Backlog, Arrival: l.Arrival, Site: l.Site, Again: true}
	switch {
	case l.Run == a.run:
		m.Arrival = a.clock.Of(l.Mono)
	case l.Held && l.Label == waitsForClock: // of a process that did not know the time
		m.Arrival, m.Undated = a.now(), true
	}
	return a.intake.Decide(&m)
}

// lettersLoop lets messages that wait pass, once they can, and reports how the store does.
func (a *App) lettersLoop(ctx context.Context) {
	look := func() {
		if any, _ := a.gate.state(); any && a.clock.State() != clock.Unsure {
			if err := a.letPass(ctx); !errors.Is(err, errTime) {
				a.warn("cannot let messages pass that waited, trying again", err)
			}
		}
		a.reportLetters(ctx)
	}
	look()
	every(ctx, a.opt.Every.Clock, look)
}

// beginFresh lets the messages wait of stations that were never heard, where some were refused that may
// be theirs: those are accepted first.
func (a *App) beginFresh(ctx context.Context) {
	var keys []station.Key
	for _, s := range a.configured() {
		if b, ok := a.board.Get(s.Plate.Key); !ok || b.Status.At == 0 {
			keys = append(keys, s.Plate.Key)
		}
	}
	a.waitForOlder(ctx, keys)
}

// waitForOlder lets the messages of stations wait, if any were refused that may be theirs.
func (a *App) waitForOlder(ctx context.Context, keys []station.Key) {
	if len(keys) == 0 {
		return
	}
	sums, err := a.letters.Sums(ctx)
	if err != nil {
		a.warn("cannot look for older messages of new stations", err)
		return
	}
	for _, m := range sums {
		if slices.Contains(unmapped, m.Label) {
			a.gate.closeFor(keys)
			return
		}
	}
}

// reportLetters reports how the store of letters does.
func (a *App) reportLetters(ctx context.Context) {
	part, f := a.health.Part("refused-store", 0), a.letters.Figures()
	any, _ := a.gate.state()
	if !any {
		a.waiting.Store(0) // none waits behind an open gate
	} else if n, err := a.letters.Waiting(ctx); err == nil {
		a.waiting.Store(n)
	}
	switch n := a.waiting.Load(); {
	case f.Stuck:
		part.Fails("messages that wait cannot be stored, and nothing is acknowledged: %s", f.LastError)
	case f.Failing:
		part.Doubtful("refused messages are lost, %d since the start: %s", f.Lost, f.LastError)
	case any && n > 0:
		part.Doubtful("%d messages wait", n)
	default:
		part.Works()
	}
}

// early are the refusals that may have come before a doubt of our clock was sure.
var early = []letters.Label{letters.Label(intake.TimeAhead), letters.Label(intake.TimeTooOld)}

// unmapped are the refusals of a station that was not configured, or by another mapping.
var unmapped = []letters.Label{letters.Label(intake.UnknownStation), letters.Label(intake.UnknownTopic), letters.Label(payload.UnknownChannel),
	letters.Label(payload.NoChannel), letters.Label(payload.NoMember)}

// earlyFor is how long before a doubt was sure its refusals are looked for: for as long as the word of
// a device counts and must be steady, twice.
const earlyFor = 3 * time.Minute

// passAgain is how long to wait for messages that are to wait and are not stored yet.
const passAgain = 5 * time.Millisecond

// ofThoseThatWait reports whether a message is of a station for whose older messages others wait.
func (a *App) ofThoseThatWait(t *intake.Taken) bool {
	found := a.gate.has(t.Key)
	t.Each(func(r *station.Record) { found = found || a.gate.has(r.Key) })
	return found
}

// letPass accepts messages that wait, in order, until none is left, and opens the gate.
func (a *App) letPass(ctx context.Context) error {
	a.passing.Lock()
	defer a.passing.Unlock()
	from := a.doubted.Load() - int64(earlyFor)
	for first := true; ctx.Err() == nil; first = false {
		_, keys := a.gate.state()
		labels := []letters.Label{letters.Held}
		if first && a.gate.closed() {
			labels = append(labels, early...)
		}
		if first && len(keys) > 0 {
			labels = append(labels, unmapped...)
		}
		p := a.newPass(func(l *letters.Letter, label letters.Label, rec *intake.Taken, r *payload.Refusal) (bool, error) {
			switch {
			case a.clock.State() == clock.Unsure:
				return false, errTime
			case label == letters.Held:
				return true, nil
			case r != nil:
				return false, nil
			case slices.Contains(early, label):
				return l.Run == a.run && l.Mono >= from, nil
			}
			return a.ofThoseThatWait(rec), nil
		})
		if err := p.run(ctx, labels); err != nil {
			return err
		}
		done, err := a.gate.open(func() (int64, error) { return a.letters.Waiting(ctx) })
		if err != nil {
			return err
		}
		if done {
			if p.accepted+p.refused > 0 || !first {
				a.log.Info("messages that waited are in", "accepted", p.accepted, "refused", p.refused)
			}
			a.ticking.Lock()
			defer a.ticking.Unlock()
			a.listen(ctx)
			return nil
		}
		pause(ctx, passAgain) // for those that are on their way to the store
	}
	return ctx.Err()
}
