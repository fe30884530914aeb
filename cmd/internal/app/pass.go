package app

import (
	"context"
	"errors"

	"strokewise/analyzer/station"
	"strokewise/collector/intake"
	"strokewise/collector/letters"
	"strokewise/collector/payload"
)

// passChunk is how many letters are accepted before they are removed from their store. After a kill
// that many come again at most; the analyzer drops duplicates.
const passChunk = 256

// pass runs letters through the intake again.
type pass struct {
	app *App
	// wanted reports whether a letter is to leave the store, given what the intake says of it now.
	wanted func(l *letters.Letter, label letters.Label, taken *intake.Taken, r *payload.Refusal) (bool, error)

	accepted, refused int64
	gone              []gone        // accepted or moved, to be removed
	stored            chan struct{} // closed when the newest of them is stored
}

// gone is a letter that is to be removed.
type gone struct {
	label    letters.Label
	position uint64
}

func (a *App) newPass(wanted func(*letters.Letter, letters.Label, *intake.Taken, *payload.Refusal) (bool, error)) *pass {
	return &pass{app: a, wanted: wanted}
}

// run passes on what is kept under the labels now.
func (p *pass) run(ctx context.Context, labels []letters.Label) error {
	err := p.app.letters.Read(ctx, labels, func(l *letters.Letter, label letters.Label) error {
		if err := p.letter(ctx, l, label); err != nil || len(p.gone) < passChunk {
			return err
		}
		return p.remove(ctx)
	})
	// What was handed on leaves the store also where the pass ends early, or it would be handed on twice.
	if removed := p.remove(ctx); err == nil {
		err = removed
	}
	return err
}

// letter passes one on: to the log, or under another reason back to the store.
func (p *pass) letter(ctx context.Context, l *letters.Letter, label letters.Label) error {
	a := p.app
	taken, r := a.again(l)
	if ok, err := p.wanted(l, label, &taken, r); !ok || err != nil {
		return err
	}
	done := make(chan struct{})
	ack := func() { close(done) }
	var err error
	if r == nil {
		p.accepted++
		err = a.pass(ctx, l, &taken, ack)
	} else {
		p.refused++
		a.intake.Refuse(r)
		moved := *l
		moved.Held, moved.Label, moved.Detail, moved.Arrival = false, letters.Label(r.Reason), r.Detail, taken.Arrival
		if taken.Arrival == 0 {
			moved.Arrival = l.Arrival
		}
		err = a.batch.AddLetter(ctx, moved, ack)
	}
	if err != nil {
		return err
	}
	p.gone, p.stored = append(p.gone, gone{label, l.Position}), done
	return nil
}

// pass hands on what came of a letter. Readings that are lost leave a letter of their own behind.
func (a *App) pass(ctx context.Context, l *letters.Letter, taken *intake.Taken, ack func()) error {
	var err error
	taken.Each(func(r *station.Record) {
		err = errors.Join(err, a.batch.Add(ctx, *r, len(l.Payload)+8*r.Samples(), nil))
	})
	if err != nil {
		return err
	}
	if len(taken.Lost) == 0 {
		return a.batch.Add(ctx, station.Record{}, 0, ack)
	}
	for _, r := range taken.Lost {
		a.intake.Refuse(r)
	}
	rest := *l
	rest.Held, rest.Label, rest.Detail = false, letters.Label(taken.Lost[0].Reason), taken.Lost[0].Detail
	return a.batch.AddLetter(ctx, rest, ack)
}

// remove deletes from the store what is stored elsewhere.
func (p *pass) remove(ctx context.Context) error {
	if len(p.gone) == 0 {
		return nil
	}
	select {
	case <-p.stored: // the batcher acknowledges in order: all are stored
	case <-ctx.Done():
		return ctx.Err()
	}
	var held uint64
	for _, g := range p.gone {
		if g.label == letters.Held {
			held = max(held, g.position)
			continue
		}
		if err := p.app.letters.Remove(ctx, g.label, g.position); err != nil {
			return err
		}
	}
	p.gone = p.gone[:0]
	if held == 0 {
		return nil
	}
	return p.app.letters.RemoveTo(ctx, letters.Held, held) // all before it left, too
}
