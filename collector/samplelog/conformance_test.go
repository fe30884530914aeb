package samplelog

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"testing"
	"time"

	"go.uber.org/goleak"

	"strokewise/analyzer/station"
)

func TestMain(m *testing.M) {
	if child() {
		return
	}
	goleak.VerifyTestMain(m)
}

// kinds opens each implementation; reopen is nil where nothing survives closing.
var kinds = map[string]func(t *testing.T, maxBytes int64) (log Log, reopen func() Log){
	"memory": func(t *testing.T, max int64) (Log, func() Log) {
		return NewMemory(max), nil
	},
	"jetstream": func(t *testing.T, max int64) (Log, func() Log) {
		dir := t.TempDir()
		open := func() Log {
			j, err := Open(t.Context(), Options{Dir: dir, MaxBytes: max})
			if err != nil {
				t.Fatal(err)
			}
			t.Cleanup(func() { j.Close() })
			return j
		}
		return open(), open
	},
}

func tick(n int) []station.Record { return []station.Record{{Arrival: station.Instant(n), Tick: true}} }

func mustAppend(t *testing.T, l Log, partition, n int) uint64 {
	t.Helper()
	p, err := l.Append(t.Context(), partition, tick(n))
	if err != nil {
		t.Fatal(err)
	}
	return p
}

var errEnough = errors.New("enough")

// read gives the arrivals of the next n entries after from.
func read(t *testing.T, l Log, partition int, from uint64, n int) (got []int, positions []uint64) {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), patience)
	defer cancel()
	err := l.Read(ctx, partition, from, func(e Entry) error {
		got, positions = append(got, int(e.Records[0].Arrival)), append(positions, e.Position)
		if len(got) == n {
			return errEnough
		}
		return nil
	})
	if !errors.Is(err, errEnough) {
		t.Fatalf("read %v, then: %v", got, err)
	}
	return got, positions
}

func TestConformance(t *testing.T) {
	for name, open := range kinds {
		t.Run(name, func(t *testing.T) { conform(t, open) })
	}
}

func conform(t *testing.T, open func(*testing.T, int64) (Log, func() Log)) {
	t.Run("order and positions", func(t *testing.T) {
		l, _ := open(t, 0)
		var want []uint64
		for i := range 50 {
			p := mustAppend(t, l, i%2, i)
			if i%2 == 1 {
				want = append(want, p)
			}
		}
		got, pos := read(t, l, 1, 0, 25)
		for i := range got {
			if got[i] != 2*i+1 || pos[i] != want[i] || i > 0 && pos[i] <= pos[i-1] {
				t.Fatalf("entry %d is %d at %d", i, got[i], pos[i])
			}
		}
		of, log, err := l.Last(t.Context(), 1)
		if err != nil || of != want[24] || log != want[24] {
			t.Errorf("last %d %d, %v", of, log, err)
		}
		if of, _, err = l.Last(t.Context(), 7); of != 0 || err != nil {
			t.Errorf("last of an empty partition is %d, %v", of, err)
		}
	})
	t.Run("from the middle", func(t *testing.T) {
		l, _ := open(t, 0)
		var at uint64
		for i := range 20 {
			if p := mustAppend(t, l, 3, i); i == 9 {
				at = p
			}
		}
		if got, _ := read(t, l, 3, at, 10); got[0] != 10 || got[9] != 19 {
			t.Errorf("got %v", got)
		}
	})
	t.Run("waits for new entries", func(t *testing.T) {
		l, _ := open(t, 0)
		mustAppend(t, l, 0, 1)
		var wg sync.WaitGroup
		wg.Go(func() {
			if got, _ := read(t, l, 0, 0, 3); got[2] != 3 {
				t.Errorf("got %v", got)
			}
		})
		mustAppend(t, l, 0, 2)
		mustAppend(t, l, 1, 9)
		mustAppend(t, l, 0, 3)
		wg.Wait()
	})
	t.Run("trim", func(t *testing.T) {
		l, _ := open(t, 0)
		for i := range 10 {
			mustAppend(t, l, i%2, i)
		}
		_, pos := read(t, l, 0, 0, 3)
		if err := l.Trim(t.Context(), pos[1]); err != nil {
			t.Fatal(err)
		}
		if got, _ := read(t, l, 0, 0, 3); got[0] != 4 {
			t.Errorf("after trimming: %v", got)
		}
		if s, err := l.Size(t.Context()); err != nil || s.First != pos[1]+1 || s.Last != 10 {
			t.Errorf("size %+v, %v", s, err)
		}
		if err := l.Trim(t.Context(), 10); err != nil {
			t.Fatal(err)
		}
		if p := mustAppend(t, l, 0, 11); p != 11 {
			t.Errorf("positions must go on after trimming everything, got %d", p)
		}
	})
	t.Run("before", func(t *testing.T) {
		l, _ := open(t, 0)
		if p, err := l.Before(t.Context(), time.Now()); p != 0 || err != nil {
			t.Errorf("empty log: %d, %v", p, err)
		}
		mustAppend(t, l, 0, 1)
		mustAppend(t, l, 5, 2)
		if p, err := l.Before(t.Context(), time.Now().Add(time.Hour)); p != 2 || err != nil {
			t.Errorf("all are older: %d, %v", p, err)
		}
		if p, err := l.Before(t.Context(), time.Now().Add(-time.Hour)); p != 0 || err != nil {
			t.Errorf("none is older: %d, %v", p, err)
		}
	})
	t.Run("full, and room again", func(t *testing.T) {
		l, _ := open(t, 4096)
		n := 0
		for ; n < 1000; n++ {
			if _, err := l.Append(t.Context(), 0, tick(n)); err != nil {
				if !errors.Is(err, ErrFull) {
					t.Fatal(err)
				}
				break
			}
		}
		if n == 1000 {
			t.Fatal("never full")
		}
		if got, _ := read(t, l, 0, 0, n); len(got) != n {
			t.Errorf("%d of %d entries are left", len(got), n)
		}
		if err := l.Trim(t.Context(), uint64(n/2)); err != nil {
			t.Fatal(err)
		}
		mustAppend(t, l, 0, n)
	})
	t.Run("concurrent", func(t *testing.T) {
		l, _ := open(t, 0)
		var wg sync.WaitGroup
		for g := range station.Partitions {
			wg.Go(func() {
				for i := range 50 {
					mustAppend(t, l, g, i)
				}
				got, _ := read(t, l, g, 0, 50)
				for i := range got {
					if got[i] != i {
						t.Errorf("partition %d: %v", g, got)
						return
					}
				}
			})
		}
		wg.Wait()
	})
	t.Run("cancel and close", func(t *testing.T) {
		l, _ := open(t, 0)
		ctx, cancel := context.WithCancel(t.Context())
		done := make(chan error)
		go func() { done <- l.Read(ctx, 0, 0, func(Entry) error { return nil }) }()
		cancel()
		if err := <-done; !errors.Is(err, context.Canceled) {
			t.Errorf("cancelled read: %v", err)
		}
		if err := l.Close(); err != nil {
			t.Error(err)
		}
		if err := l.Close(); err != nil {
			t.Errorf("closed twice: %v", err)
		}
	})
	t.Run("reopen", func(t *testing.T) {
		l, reopen := open(t, 0)
		if reopen == nil {
			t.Skip("keeps nothing by design")
		}
		for i := range 10 {
			mustAppend(t, l, 0, i)
		}
		if err := l.Close(); err != nil {
			t.Fatal(err)
		}
		l = reopen()
		if got, _ := read(t, l, 0, 0, 10); got[9] != 9 {
			t.Errorf("got %v", got)
		}
		if p := mustAppend(t, l, 0, 10); p != 11 {
			t.Errorf("position %d after reopening", p)
		}
	})
}

func TestASecondInstanceRefusesToStart(t *testing.T) {
	dir := t.TempDir()
	j, err := Open(t.Context(), Options{Dir: dir})
	if err != nil {
		t.Fatal(err)
	}
	defer j.Close()
	_, err = Open(t.Context(), Options{Dir: dir})
	if !errors.Is(err, ErrLocked) {
		t.Fatalf("got %v", err)
	}
	t.Log(err)
}

// The lease keeps a writer on another machine off: here two clients of one server.
func TestLeaseRefusesASecondWriter(t *testing.T) {
	j, err := Open(t.Context(), Options{Dir: t.TempDir(), LeaseTTL: time.Second})
	if err != nil {
		t.Fatal(err)
	}
	defer j.Close()
	other := &JetStream{opt: Options{URL: "another machine's", Logger: j.opt.Logger}}
	if _, err := other.takeLease(t.Context(), j.lease.kv, time.Second); !errors.Is(err, ErrLease) {
		t.Fatalf("got %v", err)
	}
}

func TestTooLargeAnEntryIsAnError(t *testing.T) {
	j, err := Open(t.Context(), Options{Dir: t.TempDir()})
	if err != nil {
		t.Fatal(err)
	}
	defer j.Close()
	v := make([]float64, MaxEntry/8+1)
	for i := range v {
		v[i] = float64(i) * 0.1234567
	}
	if _, err := j.Append(t.Context(), 0, []station.Record{{Blocks: []station.Block{{Values: v}}}}); err == nil || errors.Is(err, ErrFull) {
		t.Errorf("got %v", err)
	}
}

func BenchmarkAppend(b *testing.B) {
	for _, always := range []bool{false, true} {
		b.Run(fmt.Sprintf("sync-always=%v", always), func(b *testing.B) {
			j, err := Open(b.Context(), Options{Dir: b.TempDir(), SyncAlways: always})
			if err != nil {
				b.Fatal(err)
			}
			defer j.Close()
			v := make([]float64, 1000)
			for i := range v {
				v[i] = float64(i * i % 7919)
			}
			rec := []station.Record{{Blocks: []station.Block{{Values: v, Step: 1e7}}}}
			b.Run("append", func(b *testing.B) {
				for b.Loop() {
					if _, err := j.Append(b.Context(), 0, rec); err != nil {
						b.Fatal(err)
					}
				}
			})
			data, _ := Encode(rec)
			b.Run("bare-publish", func(b *testing.B) {
				for b.Loop() {
					if _, err := j.js.Publish(b.Context(), usual.subject(1), data); err != nil {
						b.Fatal(err)
					}
				}
			})
		})
	}
}
