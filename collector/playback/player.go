package playback

import (
	"context"
	"sync"
	"time"

	"strokewise/analyzer/station"
)

// seam is the silence between two rounds of a recording: its end does not fit its
// beginning, and a gap is not interpolated over.
const seam = 15 * station.Second

// Options of a Player.
type Options struct {
	Recordings []Recording
	// Publish sends a message. It is called from one goroutine a recording, several at once.
	Publish func(ctx context.Context, topic string, payload []byte) error
	Start   time.Time // at which the first samples are taken, as their own times say
	Rounds  int       // 0: for ever
	// Speed is how many seconds of a recording pass in a second; 0: each second of samples
	// is sent when it is over by its own times, so a Start in the past is made up for at
	// once. Above 1 the samples' times run ahead of the clock unless Start lies far enough
	// back: a collector refuses times well ahead of its own.
	Speed float64
	Now   func() time.Time // the clock that Speed counts from; nil: time.Now
	// Wait returns at the given time; nil: it sleeps.
	Wait func(ctx context.Context, until time.Time) error
}

// Player publishes recordings.
type Player struct{ opt Options }

// New gives a player.
func New(opt Options) *Player {
	if opt.Now == nil {
		opt.Now = time.Now
	}
	if opt.Wait == nil {
		opt.Wait = sleep
	}
	return &Player{opt}
}

// due gives when the sample time t is to be sent by a player that began at the given time.
func (p *Player) due(t station.Instant, start station.Instant, began time.Time) time.Time {
	if p.opt.Speed <= 0 {
		return t.Time()
	}
	return began.Add(time.Duration(float64(t.Sub(start)) / p.opt.Speed))
}

func sleep(ctx context.Context, until time.Time) error {
	t := time.NewTimer(time.Until(until))
	defer t.Stop()
	select {
	case <-ctx.Done():
		return ctx.Err()
	case <-t.C:
		return nil
	}
}

// Run plays until ctx ends, or all rounds are over, or a message cannot be published.
func (p *Player) Run(ctx context.Context) error {
	ctx, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)
	began := p.opt.Now()
	var wg sync.WaitGroup
	for i := range p.opt.Recordings {
		r := &p.opt.Recordings[i]
		wg.Go(func() {
			if err := p.play(ctx, r, began); err != nil {
				cancel(err)
			}
		})
	}
	wg.Wait()
	return context.Cause(ctx)
}

// play plays one recording, round after round, a second at a time.
func (p *Player) play(ctx context.Context, r *Recording, began time.Time) error {
	from, length := r.Span()
	start := station.InstantOf(p.opt.Start).Floor(station.Millisecond)
	counts := r.counted()
	for round := 0; p.opt.Rounds == 0 || round < p.opt.Rounds; round++ {
		shift := start.Add(int64(round) * (length + seam)).Sub(from)
		for at := int64(0); at < length; at += station.Second {
			lo, hi := from.Add(at), from.Add(min(at+station.Second, length))
			if err := p.opt.Wait(ctx, p.due(hi.Add(shift), start, began)); err != nil {
				return err
			}
			if err := p.second(ctx, r, lo, hi, shift, float64(round)*counts); err != nil {
				return err
			}
		}
	}
	return nil
}

// counted gives by how much the cycle counter goes on in the recording.
func (r *Recording) counted() float64 {
	for i := range r.Blocks {
		if b := &r.Blocks[i]; b.Channel == station.Cycles {
			return b.Values[len(b.Values)-1] - b.Values[0]
		}
	}
	return 0
}
