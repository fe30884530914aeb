package batch

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"go.uber.org/goleak"

	"strokewise/analyzer/station"
	"strokewise/collector/samplelog"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// fake is a log that can refuse.
type fake struct {
	mu     sync.Mutex
	parts  [station.Partitions][]station.Record
	refuse atomic.Int64 // calls still to refuse
	only   int          // partition that refuses, -1: all
	gate   chan struct{}
}

var errFull = errors.New("full")

func (f *fake) Append(_ context.Context, p int, r []station.Record) (uint64, error) {
	if f.gate != nil {
		<-f.gate
	}
	if (f.only < 0 || f.only == p) && f.refuse.Add(-1) >= 0 {
		return 0, errFull
	}
	f.mu.Lock()
	defer f.mu.Unlock()
	f.parts[p] = append(f.parts[p], r...)
	return 1, nil
}

func (f *fake) count() int {
	f.mu.Lock()
	defer f.mu.Unlock()
	n := 0
	for _, p := range f.parts {
		n += len(p)
	}
	return n
}

func record(st string, n int) station.Record {
	return station.Record{Key: station.Key{Site: "s", Station: st}, Blocks: []station.Block{{Start: station.Instant(n), Values: []float64{float64(n)}}}}
}

// run starts a batcher and stops it at the test's end.
func run(t *testing.T, opt Options) *Batcher {
	b := New(opt)
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan struct{})
	go func() { b.Run(ctx); close(done) }()
	t.Cleanup(func() { cancel(); <-done })
	return b
}

func TestAcknowledgesInOrderAfterTheLog(t *testing.T) {
	f := &fake{only: -1}
	b := run(t, Options{Log: f})
	const n = 10000
	var acked atomic.Int64
	done := make(chan struct{})
	for i := range n {
		ack := func() {
			if k := acked.Add(1); k != int64(i)+1 {
				t.Errorf("message %d was acknowledged as number %d", i, k)
			}
			if i == n-1 {
				close(done)
			}
		}
		var err error
		if i%7 == 3 {
			err = b.Pass(t.Context(), ack)
		} else {
			err = b.Add(t.Context(), record(fmt.Sprint(i%50), i), ack)
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	<-done
	last := map[string]station.Instant{}
	for _, p := range f.parts {
		for _, r := range p {
			if at := r.Blocks[0].Start; at < last[r.Key.Station] {
				t.Fatalf("station %s went back", r.Key.Station)
			} else {
				last[r.Key.Station] = at
			}
		}
	}
	if got := f.count(); got != n-n/7 && got != n-n/7-1 {
		t.Errorf("%d records in the log", got)
	}
	if s := b.Figures(); s.Samples != int64(f.count()) || s.Entries == 0 {
		t.Errorf("figures %+v", s)
	}
}

func TestNothingIsAcknowledgedWhileTheLogRefuses(t *testing.T) {
	f := &fake{only: -1}
	f.refuse.Store(3)
	b := run(t, Options{Log: f, Retry: time.Millisecond})
	acked := make(chan bool, 1)
	if err := b.Add(t.Context(), record("a", 1), func() { acked <- f.count() == 1 }); err != nil {
		t.Fatal(err)
	}
	if !<-acked {
		t.Error("acknowledged before the log had it")
	}
	if s := b.Figures(); s.Stuck || s.LastError == "" {
		t.Errorf("figures after recovery: %+v", s)
	}
}

// A partition that failed is appended again; those that did not are not.
func TestPartialFailureAppendsNothingTwice(t *testing.T) {
	f := &fake{only: station.Key{Site: "s", Station: "a"}.Partition(), gate: make(chan struct{})}
	f.refuse.Store(2)
	b := New(Options{Log: f, Retry: time.Millisecond})
	var wg sync.WaitGroup
	for i := range 100 {
		wg.Add(1)
		if err := b.Add(t.Context(), record(string(rune('a'+i%10)), i), wg.Done); err != nil {
			t.Fatal(err)
		}
	}
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan struct{})
	go func() { b.Run(ctx); close(done) }()
	close(f.gate)
	wg.Wait()
	cancel()
	<-done
	if f.count() != 100 {
		t.Errorf("%d records in the log, want 100", f.count())
	}
}

func TestAddBlocksWhileFullAndEndsWithItsContext(t *testing.T) {
	for name, opt := range map[string]Options{"messages": {Messages: 2}, "bytes": {Bytes: 200}} {
		t.Run(name, func(t *testing.T) {
			opt.Log = &fake{only: -1}
			b := New(opt) // nobody drains
			ctx, cancel := context.WithTimeout(t.Context(), 50*time.Millisecond)
			defer cancel()
			n := 0
			for ; n < 100; n++ {
				if err := b.Add(ctx, record("a", n), func() { t.Error("acknowledged") }); err != nil {
					break
				}
			}
			if n == 0 || n > 3 {
				t.Errorf("%d messages went in", n)
			}
		})
	}
}

func TestStopLeavesTheRestUnacknowledged(t *testing.T) {
	f := &fake{only: -1}
	f.refuse.Store(1 << 40)
	b := New(Options{Log: f, Retry: time.Hour})
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error)
	go func() { done <- b.Run(ctx) }()
	if err := b.Add(ctx, record("a", 1), func() { t.Error("acknowledged") }); err != nil {
		t.Fatal(err)
	}
	for !b.Figures().Stuck {
		time.Sleep(time.Millisecond)
	}
	cancel()
	if err := <-done; !errors.Is(err, context.Canceled) {
		t.Error(err)
	}
}

// The longest message that a payload allows, in the costliest coding, fits the log once
// it is cut; nothing of it is lost.
func TestLongRecordsAreCut(t *testing.T) {
	const n = 100_000
	b := station.Block{Channel: station.InletPressure, Start: 5, Values: make([]float64, n), Times: make([]station.Instant, n)}
	for i := range n {
		b.Values[i], b.Times[i] = 1/float64(i+3), station.Instant(i*1e9+5)
	}
	pieces := split(nil, &station.Record{Blocks: []station.Block{b}})
	i := 0
	for _, r := range pieces {
		data, err := samplelog.Encode([]station.Record{r})
		if err != nil || len(data) > samplelog.MaxEntry/2 {
			t.Fatalf("a piece has %d bytes, %v", len(data), err)
		}
		for k := range r.Blocks[0].Values {
			if r.Blocks[0].At(k) != b.At(i) || r.Blocks[0].Values[k] != b.Values[i] {
				t.Fatalf("sample %d changed", i)
			}
			i++
		}
	}
	if i != n {
		t.Errorf("%d samples of %d", i, n)
	}
}
