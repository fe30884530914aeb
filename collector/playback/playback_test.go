package playback

import (
	"bytes"
	"context"
	"errors"
	"math"
	"sync"
	"testing"
	"time"

	"go.uber.org/goleak"

	"strokewise/analyzer/station"
	"strokewise/collector/intake"
	"strokewise/collector/topic"
	"strokewise/collector/trace"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// Samples stand on the grid of the rate, at most 2 ms from where they were recorded.
func TestRecordingsAreRegular(t *testing.T) {
	rs, err := Recordings()
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range rs {
		if len(r.Blocks) != 3 {
			t.Errorf("%s has %d channels", r.Name, len(r.Blocks))
		}
		step := int64(math.Round(1e6/r.Rate)) * station.Microsecond
		b := &r.Blocks[0]
		for i := 1; i < len(b.Times); i++ {
			if b.Times[i].Sub(b.Times[i-1]) != step {
				t.Fatalf("%s: sample %d comes after %d ns", r.Name, i, b.Times[i].Sub(b.Times[i-1]))
			}
		}
		data, err := files.ReadFile("recordings/" + r.Name + ".csv.gz")
		if err != nil {
			t.Fatal(err)
		}
		f, err := trace.NewReader(bytes.NewReader(data), r.Name, 0)
		if err != nil {
			t.Fatal(err)
		}
		raw, err := f.Next()
		if err != nil {
			t.Fatal(err)
		}
		for i, at := range raw[0].Times {
			if d := at.Sub(b.Times[i]); d < -2*station.Millisecond || d > 2*station.Millisecond {
				t.Fatalf("%s: sample %d was moved by %d ns", r.Name, i, d)
			}
		}
		if got := r.counted(); math.Abs(got-float64(r.Cycles)) > 1 {
			t.Errorf("%s: the counter counts %g cycles, the model %d", r.Name, got, r.Cycles)
		}
	}
}

// Two rounds of every recording arrive once, through the same intake as live messages:
// times go on, values are those of the recording, the counter does not go back.
func TestPlayedSamplesArriveOnce(t *testing.T) {
	rs, err := Recordings()
	if err != nil {
		t.Fatal(err)
	}
	var in *intake.Intake
	opt := intake.Options{}
	for _, s := range []string{"boost/{site}/{station}/{channel}", "boost/{site}/{station}"} {
		p, err := topic.Compile(s)
		if err != nil {
			t.Fatal(err)
		}
		opt.Routes = append(opt.Routes, intake.Route{Pattern: p})
	}
	for i := range rs {
		opt.Stations = append(opt.Stations, rs[i].Plate.Key)
	}
	if in, err = intake.New(opt); err != nil {
		t.Fatal(err)
	}
	type line struct {
		station string
		channel station.Channel
	}
	var mu sync.Mutex
	times, values := map[line][]station.Instant{}, map[line][]float64{}
	start := time.Unix(1767225600, 0)
	p := New(Options{Recordings: rs, Start: start, Rounds: 2,
		Wait: func(context.Context, time.Time) error { return nil },
		Publish: func(_ context.Context, name string, data []byte) error {
			rec, refusal := in.Accept(&intake.Message{Topic: name, Payload: data, Arrival: station.InstantOf(start.Add(20 * time.Minute))})
			if refusal != nil {
				t.Errorf("%s: %v", name, refusal)
				return refusal
			}
			mu.Lock()
			defer mu.Unlock()
			for _, b := range rec.Blocks {
				k := line{rec.Key.Station, b.Channel}
				for i, v := range b.Values {
					times[k], values[k] = append(times[k], b.At(i)), append(values[k], v)
				}
			}
			return nil
		}})
	if err := p.Run(t.Context()); err != nil {
		t.Fatal(err)
	}
	for _, r := range rs {
		for i := range r.Blocks {
			b := &r.Blocks[i]
			k := line{r.Plate.Key.Station, b.Channel}
			n := len(b.Values)
			if len(values[k]) != 2*n {
				t.Fatalf("%s %s: %d of %d samples", r.Name, b.Channel, len(values[k]), 2*n)
			}
			for j, v := range values[k] {
				if j > 0 && times[k][j] <= times[k][j-1] {
					t.Fatalf("%s %s: time goes back at %d", r.Name, b.Channel, j)
				}
				want := b.Values[j%n]
				if b.Channel == station.Cycles {
					want += float64(j/n) * r.counted()
				}
				if math.Abs(v-want) > 0.06 {
					t.Fatalf("%s %s: sample %d is %g, recorded %g", r.Name, b.Channel, j, v, want)
				}
			}
		}
	}
}

func TestRunEndsWithAFailedMessage(t *testing.T) {
	rs, err := Recordings()
	if err != nil {
		t.Fatal(err)
	}
	bad := errors.New("no broker")
	p := New(Options{Recordings: rs, Start: time.Now(), Publish: func(context.Context, string, []byte) error { return bad },
		Wait: func(ctx context.Context, _ time.Time) error { return ctx.Err() }})
	if err := p.Run(t.Context()); !errors.Is(err, bad) {
		t.Error(err)
	}
}

func TestRunEndsWithItsContext(t *testing.T) {
	rs, err := Recordings()
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if err := New(Options{Recordings: rs, Start: time.Now()}).Run(ctx); !errors.Is(err, context.Canceled) {
		t.Error(err)
	}
}
