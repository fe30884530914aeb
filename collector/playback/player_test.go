package playback

import (
	"context"
	"errors"
	"math"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"strokewise/analyzer/station"
	"strokewise/collector/intake"
	"strokewise/collector/payload"
	"strokewise/collector/topic"
)

// plant is the receiving end: the intake that live messages pass, and a clock that stands
// where the player last waited for.
type plant struct {
	t      *testing.T
	in     *intake.Intake
	now    time.Time
	topics map[string]int
	times  [station.NumChannels][]station.Instant
	values [station.NumChannels][]float64
}

func newPlant(t *testing.T, k station.Key) *plant {
	t.Helper()
	opt := intake.Options{Stations: []station.Key{k}}
	for _, s := range []string{"boost/{site}/{station}/{channel}", "boost/{site}/{station}"} {
		p, err := topic.Compile(s)
		if err != nil {
			t.Fatal(err)
		}
		opt.Routes = append(opt.Routes, intake.Route{Pattern: p})
	}
	in, err := intake.New(opt)
	if err != nil {
		t.Fatal(err)
	}
	return &plant{t: t, in: in, topics: map[string]int{}}
}

func (p *plant) wait(_ context.Context, until time.Time) error {
	if until.Before(p.now) {
		p.t.Errorf("waits for %s at %s", until, p.now)
	}
	p.now = until
	return nil
}

func (p *plant) publish(_ context.Context, name string, data []byte) error {
	p.topics[name]++
	now := station.InstantOf(p.now)
	rec, refusal := p.in.Accept(&intake.Message{Topic: name, Payload: data, Arrival: now})
	if refusal != nil {
		return refusal
	}
	for i := range rec.Blocks {
		b := &rec.Blocks[i]
		if b.Stamp != station.StampDevice {
			p.t.Errorf("%s: samples without times of their own", name)
		}
		for j, v := range b.Values {
			if age := now.Sub(b.At(j)); age <= 0 || age > station.Second {
				p.t.Errorf("%s: a sample %d ns old is sent", name, age)
			}
			p.times[b.Channel], p.values[b.Channel] = append(p.times[b.Channel], b.At(j)), append(p.values[b.Channel], v)
		}
	}
	return nil
}

// Three rounds of each recording, through the same intake as live messages and by a clock
// of our own: each sample arrives once, within the second after it was taken; times
// increase; a round counts as many cycles as the model did.
func TestPlayedSamplesArriveOnce(t *testing.T) {
	const rounds = 3
	start := time.Date(2026, 3, 1, 12, 0, 0, 123_000_000, time.UTC)
	for _, r := range recordings(t) {
		t.Run(r.Name, func(t *testing.T) {
			p := newPlant(t, r.Plate.Key)
			err := New(Options{Recordings: []Recording{r}, Start: start, Rounds: rounds, Wait: p.wait, Publish: p.publish}).Run(t.Context())
			if err != nil {
				t.Fatal(err)
			}
			for i := range r.Blocks {
				p.compare(&r, &r.Blocks[i], rounds, station.InstantOf(start))
			}
			p.messages(&r, rounds)
		})
	}
}

// compare holds what came of a channel to what was recorded of it.
func (p *plant) compare(r *Recording, b *station.Block, rounds int, start station.Instant) {
	p.t.Helper()
	times, values := p.times[b.Channel], p.values[b.Channel]
	n := len(b.Values)
	if len(values) != rounds*n {
		p.t.Fatalf("%s: %d of %d samples", b.Channel, len(values), rounds*n)
	}
	_, length := r.Span()
	for j, v := range values {
		round := j / n
		at := start.Add(int64(round)*(length+15*station.Second) + b.Times[j%n].Sub(b.Times[0]))
		want := b.Values[j%n]
		if b.Channel == station.Cycles {
			want += float64(int64(round) * r.Cycles)
		}
		// SenML carries a tenth of a pascal, the blocks a thousandth of a kPa.
		if times[j] != at || math.Abs(v-want) > 0.5 || b.Channel == station.Cycles && v != want {
			p.t.Fatalf("%s: sample %d is %g at %s, want %g at %s", b.Channel, j, v, times[j], want, at)
		}
		if j > 0 && times[j] <= times[j-1] {
			p.t.Fatalf("%s: time goes back at %d", b.Channel, j)
		}
	}
}

// messages checks topics and numbers of messages: one a second, and where they are not
// joint one of each channel.
func (p *plant) messages(r *Recording, rounds int) {
	p.t.Helper()
	_, length := r.Span()
	seconds := int(length/station.Second) * rounds
	base := "boost/northdock/" + r.Plate.Key.Station
	want := map[string]int{base: seconds}
	if r.Style != payload.Joint {
		want = map[string]int{base + "/inlet_pressure": seconds, base + "/outlet_pressure": seconds, base + "/cycles": seconds}
	}
	if len(p.topics) != len(want) {
		p.t.Errorf("topics %v", p.topics)
	}
	for name, n := range want {
		if p.topics[name] != n {
			p.t.Errorf("%s: %d messages, want %d", name, p.topics[name], n)
		}
	}
}

// All stations play at once and all formats occur.
func TestAllRecordingsPlayTogether(t *testing.T) {
	rs := recordings(t)
	var mu sync.Mutex
	first := map[string]string{}
	err := New(Options{Recordings: rs, Start: time.Unix(1767225600, 0), Rounds: 1,
		Wait: func(context.Context, time.Time) error { return nil },
		Publish: func(_ context.Context, name string, data []byte) error {
			mu.Lock()
			defer mu.Unlock()
			if _, ok := first[name]; !ok {
				first[name] = string(data)
			}
			return nil
		}}).Run(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	for name, prefix := range map[string]string{
		"boost/northdock/press-4":                 `{"t0":1767225600.000000,"dt":0.02,"inlet_pressure":[639,632.1,`,
		"boost/northdock/press-5/outlet_pressure": `{"t0":1767225600.000000,"dt":0.1,"v":[950.2,950.4,`,
		"boost/northdock/clamp-3/inlet_pressure":  `[{"bn":"urn:dev:clamp-3:","bt":1767225600.000000,"bu":"Pa"},{"n":"inlet_pressure","t":0,"v":626900},{"n":"inlet_pressure","t":0.05,"v":629300},{"n":"inlet_pressure","t":0.1,"v":631900},{"n":"inlet_pressure","t":0.15,`,
	} {
		if !strings.HasPrefix(first[name], prefix) {
			t.Errorf("%s: got %.200s", name, first[name])
		}
	}
	if len(first) != 2+4*3 {
		t.Errorf("%d topics", len(first))
	}
}

// With a speed, a second of samples is due a fraction of a second after the one before,
// counted from when the player began; without, when it is over by its own times.
func TestSpeed(t *testing.T) {
	start := time.Unix(1767225600, 0).UTC()
	began := start.Add(10 * time.Minute)
	for name, c := range map[string]struct {
		speed       float64
		first, last time.Time
	}{
		"own times": {0, start.Add(time.Second), start.Add(120 * time.Second)},
		"1":         {1, began.Add(time.Second), began.Add(120 * time.Second)},
		"50":        {50, began.Add(20 * time.Millisecond), began.Add(2400 * time.Millisecond)},
		"0.5":       {0.5, began.Add(2 * time.Second), began.Add(240 * time.Second)},
	} {
		var due []time.Time
		err := New(Options{Recordings: recordings(t)[:1], Start: start, Rounds: 1, Speed: c.speed,
			Now:     func() time.Time { return began },
			Wait:    func(_ context.Context, until time.Time) error { due = append(due, until); return nil },
			Publish: func(context.Context, string, []byte) error { return nil }}).Run(t.Context())
		if err != nil || len(due) != 120 || !due[0].Equal(c.first) || !due[119].Equal(c.last) {
			t.Errorf("speed %s: %v, %d waits, from %s to %s", name, err, len(due), due[0], due[len(due)-1])
		}
	}
}

// One station's failed message ends the others, which would go on for ever.
func TestRunEndsWithAFailedMessage(t *testing.T) {
	bad := errors.New("no broker")
	var sent atomic.Int64
	err := New(Options{Recordings: recordings(t), Start: time.Now(),
		Wait: func(ctx context.Context, _ time.Time) error { return ctx.Err() },
		Publish: func(_ context.Context, name string, _ []byte) error {
			if sent.Add(1) > 1000 && strings.Contains(name, "bench-2") {
				return bad
			}
			return nil
		}}).Run(t.Context())
	if !errors.Is(err, bad) {
		t.Error(err)
	}
}

func TestRunEndsWithItsContext(t *testing.T) {
	ctx, cancel := context.WithCancelCause(t.Context())
	why := errors.New("enough")
	var sent atomic.Int64
	err := New(Options{Recordings: recordings(t), Start: time.Now().Add(-time.Hour), // made up for at once
		Publish: func(context.Context, string, []byte) error {
			if sent.Add(1) == 500 {
				cancel(why)
			}
			return nil
		}}).Run(ctx)
	if !errors.Is(err, why) {
		t.Error(err)
	}
}

// Without a past to make up for, the player sleeps, and wakes for its context.
func TestRunSleepsUntilItsContextEnds(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	p := New(Options{Recordings: recordings(t), Start: time.Now().Add(time.Hour), Publish: func(context.Context, string, []byte) error {
		t.Error("sent ahead of time")
		return nil
	}})
	wait := p.opt.Wait
	var waiting sync.WaitGroup
	waiting.Add(len(p.opt.Recordings))
	p.opt.Wait = func(ctx context.Context, until time.Time) error {
		waiting.Done()
		return wait(ctx, until)
	}
	go func() {
		waiting.Wait()
		cancel()
	}()
	if err := p.Run(ctx); !errors.Is(err, context.Canceled) {
		t.Error(err)
	}
}
