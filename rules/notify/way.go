package notify

import (
	"context"
	"errors"
	"time"
)

// Way brings transitions to one receiver.
type Way interface {
	// Deliver brings one item. With an error it may give how long the receiver wants to be
	// left alone. An error that is a *Later says that the item is not due yet, which is no
	// failure; ErrGone that the receiver wants nothing more.
	Deliver(ctx context.Context, i *Item) (wait time.Duration, err error)
	// Test brings a message that says that it is a test, and gives what was answered.
	Test(ctx context.Context) (answer string, err error)
	// Close lets connections go.
	Close()
}

// ErrGone is the error of a receiver that wants nothing more until the next start.
var ErrGone = errors.New("the receiver says that it is gone")

// errTogether is the error of an item that went with another one and is noted already.
var errTogether = errors.New("was delivered together with another")

// Later puts an item off.
type Later struct {
	Until time.Time
	Why   string
}

// Error gives the reason.
func (l *Later) Error() string { return l.Why + " at " + l.Until.Format(time.RFC3339) }
