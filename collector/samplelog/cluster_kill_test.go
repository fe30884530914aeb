package samplelog

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"sync/atomic"
	"testing"
	"time"

	"strokewise/analyzer/station"
)

// appended are the numbers of a partition that Append accepted, with their positions.
type appended struct {
	positions []uint64
	longest   time.Duration // between two accepted entries
	refused   int
}

// keepAppending appends 0, 1, 2, ... to a partition until stop is closed, each again and
// again until it is accepted, as the batcher does.
func keepAppending(ctx context.Context, l Log, partition int, stop <-chan struct{}, so *atomic.Int64) (a appended, err error) {
	last := time.Now()
	for n := 0; ; {
		select {
		case <-stop:
			return a, nil
		default:
		}
		p, err := l.Append(ctx, partition, tick(n))
		if ctx.Err() != nil {
			return a, ctx.Err()
		}
		if err != nil {
			a.refused++
			time.Sleep(20 * time.Millisecond)
			continue
		}
		a.longest, last = max(a.longest, time.Since(last)), time.Now()
		a.positions = append(a.positions, p)
		n++
		so.Store(int64(n))
	}
}

// checkEntries reads a partition from the beginning: every accepted entry stands at its
// position and in order. An entry that was not accepted may stand there as well, twice.
func checkEntries(ctx context.Context, l Log, partition int, a appended) (twice int, err error) {
	next := 0
	err = l.Read(ctx, partition, 0, func(e Entry) error {
		n := int(e.Records[0].Arrival)
		switch {
		case next < len(a.positions) && n == next && e.Position == a.positions[n]:
			next++
		case n > next:
			return fmt.Errorf("%d at %d, expected %d at %d: a gap", n, e.Position, next, a.positions[next])
		default:
			twice++
		}
		if next == len(a.positions) {
			return errEnough
		}
		return nil
	})
	if errors.Is(err, errEnough) {
		err = nil
	}
	return twice, err
}

// leader gives the node that leads the stream.
func (c cluster) leader(t *testing.T) *node {
	t.Helper()
	conn, js := c.client(t)
	defer conn.Close()
	for until := time.Now().Add(patience); time.Now().Before(until); time.Sleep(50 * time.Millisecond) {
		s, err := js.Stream(t.Context(), usual.stream)
		if err != nil || s.CachedInfo().Cluster == nil {
			continue
		}
		for _, n := range c {
			if n.Name == s.CachedInfo().Cluster.Leader {
				return n
			}
		}
	}
	t.Fatal("the stream has no leader")
	return nil
}

// whole waits until every replica is up to date.
func (c cluster) whole(t *testing.T) {
	t.Helper()
	conn, js := c.client(t)
	defer conn.Close()
	for until := time.Now().Add(patience); time.Now().Before(until); time.Sleep(50 * time.Millisecond) {
		s, err := js.Stream(t.Context(), usual.stream)
		if err != nil || s.CachedInfo().Cluster == nil || s.CachedInfo().Cluster.Leader == "" {
			continue
		}
		ok := 0
		for _, r := range s.CachedInfo().Cluster.Replicas {
			if r.Current && !r.Offline {
				ok++
			}
		}
		if ok == len(c)-1 {
			return
		}
	}
	t.Fatal("the cluster did not become whole again")
}

// Each node is killed (kill -9) in turn, then the stream's leader, while four partitions
// are appended to and read. Every accepted entry is there in order, readers lose nothing,
// and appends go on after each election.
func TestAnyNodeMayBeKilled(t *testing.T) {
	if testing.Short() {
		t.Skip("takes half a minute")
	}
	c := startCluster(t, 3)
	log := slog.New(slog.NewTextHandler(os.Stderr, &slog.HandlerOptions{Level: slog.LevelError}))
	j, err := Open(t.Context(), Options{Dir: t.TempDir(), URL: c.url(), Logger: log, LeaseTTL: shortLease})
	if err != nil {
		t.Fatal(err)
	}
	defer j.Close()
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	const partitions = 4
	stop := make(chan struct{})
	var so [partitions]atomic.Int64
	results := make(chan struct {
		n int
		a appended
	}, partitions)
	live := make(chan error, partitions)
	reading, stopReading := context.WithCancel(ctx)
	var seen [partitions]atomic.Int64
	for n := range partitions {
		go func() {
			a, err := keepAppending(ctx, j, n, stop, &so[n])
			if err != nil {
				t.Error(err)
			}
			results <- struct {
				n int
				a appended
			}{n, a}
		}()
		go func() { live <- readLive(reading, j, n, &seen[n]) }()
	}
	for i := range 4 {
		victim := c.leader(t)
		if i < 3 {
			victim = c[i]
		}
		time.Sleep(300 * time.Millisecond)
		victim.kill()
		began := time.Now()
		var from [partitions]int64
		for n := range so {
			from[n] = so[n].Load()
		}
		for n := range so {
			for so[n].Load() < from[n]+20 {
				if time.Sleep(5 * time.Millisecond); time.Since(began) > patience {
					t.Fatalf("partition %d does not go on after node %s was killed", n, victim.Name)
				}
			}
		}
		t.Logf("%s killed (stream's leader: %v): all partitions go on after %s", victim.Name, i == 3, time.Since(began).Round(time.Millisecond))
		victim.start(t)
		c.whole(t)
	}
	close(stop)
	for range partitions {
		r := <-results
		twice, err := checkEntries(ctx, j, r.n, r.a)
		if err != nil {
			t.Errorf("partition %d: %v", r.n, err)
		}
		t.Logf("partition %d: %d accepted, all there in order; %d refused and tried again, %d of them stored twice; longest pause %s", r.n, len(r.a.positions), r.a.refused, twice, r.a.longest.Round(time.Millisecond))
		for until := time.Now().Add(patience); seen[r.n].Load() < int64(len(r.a.positions)); time.Sleep(5 * time.Millisecond) {
			if time.Now().After(until) {
				t.Fatalf("the live reader of partition %d stands at %d of %d", r.n, seen[r.n].Load(), len(r.a.positions))
			}
		}
	}
	stopReading()
	for range partitions {
		if err := <-live; !errors.Is(err, context.Canceled) {
			t.Error(err)
		}
	}
}

// readLive reads a partition as the runtime does, from its last position after each
// error, and fails when an entry is missing or comes again.
func readLive(ctx context.Context, l Log, partition int, seen *atomic.Int64) error {
	var at uint64
	for {
		err := l.Read(ctx, partition, at, func(e Entry) error {
			n := int64(e.Records[0].Arrival)
			if e.Position <= at || n > seen.Load() {
				return fmt.Errorf("BUG: partition %d: entry %d at %d after %d at %d", partition, n, e.Position, seen.Load()-1, at)
			}
			if at = e.Position; n == seen.Load() {
				seen.Add(1)
			}
			return nil
		})
		if ctx.Err() != nil || err != nil && len(err.Error()) > 3 && err.Error()[:3] == "BUG" {
			return err
		}
		time.Sleep(50 * time.Millisecond)
	}
}

// shortLease ends soon enough to be waited for. It is long enough for a holder to renew it three
// times over on a busy machine.
const shortLease = 6 * time.Second

// The whole cluster is away for longer than the lease lasts: nothing is accepted
// meanwhile, and it goes on by itself afterwards, with nothing lost.
func TestTheWholeClusterMayBeAwayLongerThanTheLease(t *testing.T) {
	c := startCluster(t, 1)
	j, err := Open(t.Context(), Options{Dir: t.TempDir(), URL: c.url(), LeaseTTL: shortLease})
	if err != nil {
		t.Fatal(err)
	}
	defer j.Close()
	for i := range 100 {
		mustAppend(t, j, 0, i)
	}
	c[0].kill()
	until(t, "the end of the lease", func() bool { return j.lease.holds() != nil })
	if _, err := j.Append(t.Context(), 0, tick(100)); !errors.Is(err, ErrDoubt) {
		t.Errorf("appending without a lease gives %v", err)
	}
	c[0].start(t)
	began := time.Now()
	until(t, "an accepted entry", func() bool { _, err := j.Append(t.Context(), 0, tick(100)); return err == nil })
	t.Logf("goes on %s after the server is back", time.Since(began).Round(time.Millisecond))
	if got, _ := read(t, j, 0, 0, 101); got[100] != 100 {
		t.Errorf("got %v", got[95:])
	}
}

// A second writer on another machine is kept out while the first one lives, takes over
// after the first one was killed, and then the first one, woken again, may not append.
func TestTheLeaseKeepsASecondWriterOut(t *testing.T) {
	c := startCluster(t, 1)
	open := func() (*JetStream, error) {
		return Open(t.Context(), Options{Dir: t.TempDir(), URL: c.url(), LeaseTTL: shortLease})
	}
	first, err := open()
	if err != nil {
		t.Fatal(err)
	}
	defer first.Close()
	mustAppend(t, first, 0, 1)
	began := time.Now()
	if _, err := open(); !errors.Is(err, ErrLease) {
		t.Fatalf("a second writer: %v", err)
	} else {
		t.Logf("refused after %s: %v", time.Since(began).Round(time.Millisecond), err)
	}
	mustAppend(t, first, 0, 2)
	first.lease.stop() // as if stopped by a debugger: it renews no more
	<-first.lease.done
	began = time.Now()
	second, err := open()
	if err != nil {
		t.Fatal("the lease of a dead writer does not end: ", err)
	}
	defer second.Close()
	t.Logf("taken over after %s", time.Since(began).Round(time.Millisecond))
	mustAppend(t, second, 0, 3)
	if _, err := first.Append(t.Context(), 0, tick(4)); err == nil {
		t.Error("the first writer still appends")
	}
	if err := first.lease.again(t.Context()); !errors.Is(err, ErrLease) {
		t.Errorf("the first writer's renewal gives %v", err)
	}
	if got, _ := read(t, second, 0, 0, 3); fmt.Sprint(got) != "[1 2 3]" {
		t.Errorf("got %v", got)
	}
}

// A renewal whose answer was lost is no other writer's.
func TestALostAnswerToARenewalLosesNoLease(t *testing.T) {
	j, err := Open(t.Context(), Options{Dir: t.TempDir(), LeaseTTL: time.Hour})
	if err != nil {
		t.Fatal(err)
	}
	defer j.Close()
	l := j.lease
	if _, err := l.kv.Update(t.Context(), leaseKey, []byte(l.owner), l.rev); err != nil { // l.rev stays
		t.Fatal(err)
	}
	if err := l.again(t.Context()); err != nil {
		t.Error(err)
	}
	if _, err := j.Append(t.Context(), 0, []station.Record{{Tick: true}}); err != nil {
		t.Error(err)
	}
}
