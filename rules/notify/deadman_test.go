package notify

import (
	"context"
	"errors"
	"net/http"
	"net/http/httptest"
	"sync"
	"sync/atomic"
	"testing"
	"time"
)

// The signal comes while all works, ceases while it does not, and comes again.
func TestDeadMan(t *testing.T) {
	var calls, status atomic.Int64
	status.Store(200)
	srv := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		calls.Add(1)
		w.WriteHeader(int(status.Load()))
	}))
	defer srv.Close()
	var broken atomic.Bool
	var refused atomic.Int64
	d := &DeadMan{URL: srv.URL + "/t0ken", Every: 20 * time.Millisecond, Ready: func() error {
		if broken.Load() {
			refused.Add(1)
			return errors.New("not connected")
		}
		return nil
	}}
	ctx, stop := context.WithCancel(t.Context())
	var wg sync.WaitGroup
	wg.Go(func() { d.Run(ctx) })
	defer func() { stop(); wg.Wait() }()
	eventually(t, "three calls", func() bool { return calls.Load() >= 3 })
	broken.Store(true)
	eventually(t, "a turn without a call", func() bool { return refused.Load() >= 1 }) // none is on its way then
	n := calls.Load()
	eventually(t, "more such turns", func() bool { return refused.Load() >= 6 })
	if calls.Load() != n {
		t.Error("signals of life from what does not work")
	}
	broken.Store(false)
	eventually(t, "calls again", func() bool { return calls.Load() > n })
	status.Store(500)
	eventually(t, "failures counted", func() bool { _, f := d.Figures(); return f > 0 })
}
