package batch

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"go.uber.org/goleak"

	"strokewise/analyzer/station"
	"strokewise/collector/letters"
	"strokewise/collector/samplelog"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// keeper is a store of letters.
type keeper func(list []letters.Letter)

func (k keeper) Keep(_ context.Context, list []letters.Letter) error {
	k(list)
	return nil
}

// fake is a log in memory that can be made to fail.
type fake struct {
	mu      sync.Mutex
	stored  [station.Partitions][]station.Record
	calls   int
	largest int                      // bytes of the largest entry, encoded
	fail    func(p, call int) error  // nil: none
	gate    chan struct{}            // if set, each append takes a token first
	after   func(r []station.Record) // called once an entry is stored
}

func (f *fake) Append(ctx context.Context, p int, records []station.Record) (uint64, error) {
	if f.gate != nil {
		select {
		case <-f.gate:
		case <-ctx.Done():
			return 0, ctx.Err()
		}
	}
	data, err := samplelog.Encode(records)
	if err != nil {
		return 0, err
	}
	f.mu.Lock()
	defer f.mu.Unlock()
	f.calls++
	if f.fail != nil {
		if err := f.fail(p, f.calls); err != nil {
			return 0, err
		}
	}
	f.largest = max(f.largest, len(data))
	f.stored[p] = append(f.stored[p], records...)
	if f.after != nil {
		f.after(records)
	}
	return uint64(f.calls), nil
}

func (f *fake) total() int {
	f.mu.Lock()
	defer f.mu.Unlock()
	n := 0
	for _, r := range f.stored {
		n += len(r)
	}
	return n
}

// start runs a batcher until the test ends.
func start(t *testing.T, opt Options) *Batcher {
	t.Helper()
	b := New(opt)
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan struct{})
	go func() {
		defer close(done)
		if err := b.Run(ctx); !errors.Is(err, context.Canceled) {
			t.Errorf("run ended with %v", err)
		}
	}()
	t.Cleanup(func() { cancel(); <-done })
	return b
}

// record numbers a record by its arrival.
func record(stationID string, i int) station.Record {
	return station.Record{Key: station.Key{Site: "northdock", Station: stationID}, Arrival: station.Instant(i),
		Blocks: []station.Block{{Channel: station.InletPressure, Step: 1, Values: []float64{600e3, 601e3}}}}
}

func TestTenThousandMessages(t *testing.T) {
	const n = 10000
	var inLog sync.Map // arrival -> stored
	f := &fake{after: func(records []station.Record) {
		for i := range records {
			inLog.Store(int(records[i].Arrival), true)
		}
	}}
	keep := keeper(func(list []letters.Letter) {
		for i := range list {
			inLog.Store(int(list[i].Mono), true)
		}
	})
	b := start(t, Options{Log: f, Letters: keep, MaxMessages: 64})
	var acked []int // by Run's goroutine only
	done := make(chan struct{})
	for i := range n {
		ack := func() {
			if _, ok := inLog.Load(i); !ok {
				t.Errorf("message %d was acknowledged before it was stored", i)
			}
			if acked = append(acked, i); len(acked) == n {
				close(done)
			}
		}
		var err error
		if i%10 == 0 {
			err = b.AddLetter(t.Context(), letters.Letter{Mono: int64(i)}, ack)
		} else {
			err = b.Add(t.Context(), record(fmt.Sprint("press-", i%37), i), 100, ack)
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	<-done
	for i, got := range acked {
		if got != i {
			t.Fatalf("acknowledgement %d is of message %d", i, got)
		}
	}
	for p, records := range f.stored {
		for i := 1; i < len(records); i++ {
			if records[i].Arrival <= records[i-1].Arrival {
				t.Fatalf("partition %d is out of order at %d", p, i)
			}
		}
		for i := range records {
			if records[i].Key.Partition() != p {
				t.Fatalf("%s is in partition %d", records[i].Key, p)
			}
		}
	}
	g := b.Figures()
	if g.Records != n*9/10 || g.Samples != 2*n*9/10 || g.Queue != 0 || g.Bytes != 0 || g.Full || g.Entries != int64(f.calls) {
		t.Errorf("figures %+v after %d appends", g, f.calls)
	}
}

func TestFullLogBlocksAndRecovers(t *testing.T) {
	var full atomic.Bool
	full.Store(true)
	f := &fake{fail: func(int, int) error {
		if full.Load() {
			return fmt.Errorf("cannot append: %w", samplelog.ErrFull)
		}
		return nil
	}}
	var logged strings.Builder
	b := start(t, Options{Log: f, MaxMessages: 4, RetryEvery: time.Millisecond, Logger: slog.New(slog.NewTextHandler(&logged, nil))})
	var acks atomic.Int64
	all := make(chan struct{})
	ack := func() {
		if acks.Add(1) == 5 {
			close(all)
		}
	}
	for i := range 4 {
		if err := b.Add(t.Context(), record("press-4", i), 10, ack); err != nil {
			t.Fatal(err)
		}
	}
	for !b.Full() { // until the first append has failed
		time.Sleep(time.Millisecond)
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if err := b.Add(ctx, record("press-4", 9), 10, ack); !errors.Is(err, context.Canceled) {
		t.Errorf("a fifth message went in beside 4: %v", err)
	}
	blocked := make(chan error)
	go func() { blocked <- b.Add(t.Context(), record("press-4", 4), 10, ack) }()
	for b.Figures().Failures < 6 { // several attempts later nothing has changed
		time.Sleep(time.Millisecond)
	}
	select {
	case err := <-blocked:
		t.Fatalf("add did not block: %v", err)
	default:
	}
	if g := b.Figures(); acks.Load() != 0 || g.Queue != 4 || !g.Full || !strings.Contains(g.LastError, "full") {
		t.Errorf("%d acknowledged, figures %+v", acks.Load(), g)
	}
	full.Store(false)
	if err := <-blocked; err != nil {
		t.Error(err)
	}
	<-all
	if g := b.Figures(); g.Full || f.total() != 5 || g.Records != 5 {
		t.Errorf("%d stored, figures %+v", f.total(), g)
	}
	if n := strings.Count(logged.String(), "cannot store samples"); n != 1 || !strings.Contains(logged.String(), "takes records again") {
		t.Errorf("logged %d times:\n%s", n, logged.String())
	}
}

func TestOnlyFailedPartitionsAreTriedAgain(t *testing.T) {
	bad := record("press-4", 0).Key.Partition()
	failures := 3
	f := &fake{fail: func(p, _ int) error {
		if p == bad && failures > 0 {
			failures--
			return errors.New("disk error")
		}
		return nil
	}, gate: make(chan struct{})}
	b := start(t, Options{Log: f, RetryEvery: time.Millisecond})
	const n = 200
	var wg sync.WaitGroup
	for i := range n {
		wg.Add(1)
		id := "press-4"
		if i%2 == 1 {
			id = fmt.Sprint("press-", 100+i)
		}
		if err := b.Add(t.Context(), record(id, i), 1, wg.Done); err != nil {
			t.Fatal(err)
		}
	}
	close(f.gate)
	wg.Wait()
	seen := map[station.Instant]int{}
	for _, records := range f.stored {
		for i := range records {
			seen[records[i].Arrival]++
		}
	}
	for i := range n {
		if seen[station.Instant(i)] != 1 {
			t.Errorf("record %d is stored %d times", i, seen[station.Instant(i)])
		}
	}
	if g := b.Figures(); g.Failures != 3 || g.Full {
		t.Errorf("figures %+v", g)
	}
}

func TestEndLeavesTheRestUnacknowledged(t *testing.T) {
	f := &fake{gate: make(chan struct{})} // never lets an append through
	b := New(Options{Log: f, MaxMessages: 2})
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error)
	go func() { done <- b.Run(ctx) }()
	for i := range 2 {
		if err := b.Add(ctx, record("press-4", i), 1, func() { t.Error("acknowledged") }); err != nil {
			t.Fatal(err)
		}
	}
	blocked := make(chan error)
	go func() { blocked <- b.AddLetter(ctx, letters.Letter{}, func() { t.Error("acknowledged") }) }()
	cancel()
	if err := <-done; !errors.Is(err, context.Canceled) {
		t.Errorf("run ended with %v", err)
	}
	if err := <-blocked; !errors.Is(err, context.Canceled) {
		t.Errorf("add ended with %v", err)
	}
	if f.total() != 0 {
		t.Errorf("%d records are stored", f.total())
	}
}

func TestBytesBoundTheQueue(t *testing.T) {
	b := New(Options{MaxBytes: 100}) // nothing drains it
	fits := func(n int) bool {
		_, ok := b.offer(item{bytes: int64(n)})
		return ok
	}
	for _, c := range []struct {
		n    int
		want bool
	}{{500, true}, {1, false}} { // one beyond the bound goes in alone
		if fits(c.n) != c.want {
			t.Errorf("%d bytes: got %v beside %d", c.n, !c.want, b.bytes)
		}
	}
	b.letGo(b.take())
	for _, c := range []struct {
		n    int
		want bool
	}{{60, true}, {41, false}, {40, true}, {1, false}} {
		if fits(c.n) != c.want {
			t.Errorf("%d bytes: got %v beside %d", c.n, !c.want, b.bytes)
		}
	}
}
