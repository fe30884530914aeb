package notify

import (
	"context"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"sync"
	"time"
)

// DeadManName is the dead man's signal among the receivers.
const DeadManName = "dead-man"

// DeadMan calls an address regularly while everything from message to commit works, so
// that who stands behind the address notices when we stop.
type DeadMan struct {
	URL    string
	Every  time.Duration
	Ready  func() error // nil while all works
	Client *http.Client // nil: the usual one
	Logger *slog.Logger

	once           sync.Once
	mu             sync.Mutex
	called, failed int64
	trouble        error
}

// Run calls until ctx ends.
func (d *DeadMan) Run(ctx context.Context) {
	defer d.client().CloseIdleConnections()
	t := time.NewTicker(d.Every)
	defer t.Stop()
	for said := (time.Time{}); ; {
		if err := d.step(ctx); err != nil && ctx.Err() == nil && d.Logger != nil && time.Since(said) > sayAgain {
			said = time.Now()
			d.Logger.Warn("no sign of life is sent", "receiver", DeadManName, "error", err)
		}
		select {
		case <-ctx.Done():
			return
		case <-t.C:
		}
	}
}

// step calls once, if all works.
func (d *DeadMan) step(ctx context.Context) error {
	if err := d.Ready(); err != nil {
		return fmt.Errorf("not ready: %w", err)
	}
	_, err := d.Test(ctx)
	if ctx.Err() != nil {
		return ctx.Err() // we end: no fault of the receiver's
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	d.trouble = err
	if err != nil {
		d.failed++
	} else {
		d.called++
	}
	return err
}

func (d *DeadMan) client() *http.Client {
	d.once.Do(func() {
		if d.Client == nil {
			d.Client = NewClient(nil)
		}
	})
	return d.Client
}

// Trouble returns why the newest call was not answered, nil where it was.
func (d *DeadMan) Trouble() error {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.trouble
}

// Figures gives the calls that were answered, and those that were not.
func (d *DeadMan) Figures() (called, failed int64) {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.called, d.failed
}

// Test calls the address, whatever works.
func (d *DeadMan) Test(ctx context.Context) (string, error) {
	req, err := http.NewRequestWithContext(ctx, http.MethodGet, d.URL, nil)
	if err != nil {
		return "", fmt.Errorf("cannot make request: %w", err)
	}
	req.Header.Set("User-Agent", "strokewise")
	res, err := d.client().Do(req)
	if err != nil {
		return "", unreachable(err)
	}
	defer res.Body.Close()
	_, _ = io.Copy(io.Discard, io.LimitReader(res.Body, readBody))
	if res.StatusCode/100 != 2 {
		return res.Status, fmt.Errorf("receiver answered %s", res.Status)
	}
	return res.Status, nil
}
