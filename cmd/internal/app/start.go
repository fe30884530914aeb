package app

import (
	"context"
	"errors"
	"time"
)

// readyPoll is how often Start looks.
const readyPoll = 5 * time.Millisecond

// Start opens an App, runs it and waits until it is ready, for programs that are not the runtime's
// own. stop ends it and returns why it ended before, nil where it did not.
func Start(ctx context.Context, opt Options) (a *App, stop func() error, err error) {
	if a, err = New(ctx, opt); err != nil {
		return nil, nil, err
	}
	c, cancel := context.WithCancel(ctx)
	done := make(chan error, 1)
	go func() { done <- a.Run(c) }()
	stop = func() error {
		cancel()
		err := <-done
		a.Close()
		if errors.Is(err, context.Canceled) {
			return nil
		}
		return err
	}
	for a.Ready() != nil {
		select {
		case err := <-done:
			cancel()
			a.Close()
			return nil, nil, err
		case <-time.After(readyPoll):
		}
	}
	return a, stop, nil
}
