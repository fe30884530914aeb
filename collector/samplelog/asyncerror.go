package samplelog

import (
	"errors"
	"log/slog"

	"github.com/nats-io/nats.go"
)

// asyncError takes what the client reports of its own accord. Without it the client writes
// to stderr. A pull request that is bounded in bytes ends with a message that says so, for
// which the client's buffer has no room while a slow reader keeps it full of entries. That
// message is dropped; were it an entry, the ordered consumer would see the gap and ask again.
func (j *JetStream) asyncError(_ *nats.Conn, _ *nats.Subscription, err error) {
	if errors.Is(err, nats.ErrSlowConsumer) {
		j.opt.Logger.Debug("a reader of the sample log is slower than what it asked for")
		return
	}
	j.opt.Logger.Warn("the sample log's client reports an error", slog.Any("error", err))
}
