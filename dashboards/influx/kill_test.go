package influx

import (
	"context"
	"fmt"
	"math/rand/v2"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"reflect"
	"sync/atomic"
	"testing"
	"time"

	"strokewise/analyzer/station"
	"strokewise/dashboards/history"
	"strokewise/rules"
)

// childEnv makes the test binary the child of the kill test: "URL DATABASE".
const childEnv = "STROKEWISE_TEST_EXPORT"

// commits is how many the child makes in all, over its lives.
const commits = 600

// child commits what is missing, exports beside it, and ends when all is done.
func child() {
	var url, path string
	if _, err := fmt.Sscan(os.Getenv(childEnv), &url, &path); err != nil {
		panic(err)
	}
	s, err := history.Open(path, history.Options{Exporters: []string{Name}})
	if err != nil {
		panic(err)
	}
	o := options(url)
	o.Pace.Batch = 7
	e, err := New(s, o, nil)
	if err != nil {
		panic(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	go e.Run(ctx)
	at, err := s.Positions(ctx)
	if err != nil {
		panic(err)
	}
	for n := at[5] + 1; n <= commits; n++ {
		if err := s.Commit(ctx, []history.Commit{commitNumber(n)}); err != nil {
			panic(err)
		}
		time.Sleep(time.Millisecond)
	}
	for {
		p, err := s.ExportPending(ctx, Name)
		if err != nil {
			panic(err)
		}
		if p.Rows == 0 {
			break
		}
		time.Sleep(time.Millisecond)
	}
	cancel()
	s.Close()
}

// commitNumber makes the n-th commit: two minutes and now and then a transition.
func commitNumber(n uint64) history.Commit {
	c := history.Commit{Partition: 5, Position: n, Stations: []history.StationMinutes{{Key: press, Revision: 1,
		Minutes: []station.Minute{minute(int(2 * n)), minute(int(2*n + 1))}}}}
	if n%3 == 0 {
		c.Transitions = []rules.Transition{alarm(int(n), rules.Unacknowledged)}
	}
	return c
}

// kill -9 at random moments, of the process that commits and exports: the server ends up
// with exactly the points of an undisturbed run.
func TestKillsLeaveThePointsOfAnUndisturbedRun(t *testing.T) {
	life := func(f *fake, path string) *exec.Cmd {
		c := exec.Command(os.Args[0])
		c.Env = append(os.Environ(), childEnv+"="+f.URL+" "+path)
		c.Stderr = os.Stderr
		if err := c.Start(); err != nil {
			t.Fatal(err)
		}
		return c
	}
	calm := newFake(t, nil)
	if err := life(calm, filepath.Join(t.TempDir(), "calm.db")).Wait(); err != nil {
		t.Fatal(err)
	}
	want := calm.stored()
	if len(want) != 2*commits+commits/3 {
		t.Fatalf("%d points in the undisturbed run", len(want))
	}

	// a held request is stored and not answered: the child dies without knowing
	var f *fake
	var hold atomic.Bool
	held, dead := make(chan struct{}), make(chan struct{})
	f = newFake(t, func(_ http.ResponseWriter, r *request) bool {
		if hold.CompareAndSwap(true, false) {
			f.keep(r.lines...)
			held <- struct{}{}
			<-dead
		}
		return false
	})
	path := filepath.Join(t.TempDir(), "killed.db")
	kills := 0
	for n := range 10 {
		if n%2 == 0 {
			hold.Store(true)
		}
		c := life(f, path)
		if n%2 == 0 {
			<-held
		} else {
			time.Sleep(time.Duration(60+rand.IntN(120)) * time.Millisecond) // a moment by chance; any will do
		}
		c.Process.Kill()
		if c.Wait() != nil {
			kills++
		}
		if n%2 == 0 {
			dead <- struct{}{}
		}
	}
	if err := life(f, path).Wait(); err != nil {
		t.Fatal(err)
	}
	sent := 0
	for _, r := range f.seen() {
		sent += len(r.lines)
	}
	t.Logf("%d kills, %d points, %d sent", kills, len(want), sent)
	if got := f.stored(); !reflect.DeepEqual(got, want) {
		t.Errorf("%d points, expected %d", len(got), len(want))
	}
	if kills < 5 || sent <= len(want) {
		t.Errorf("only %d kills hit, %d points sent", kills, sent)
	}
}
