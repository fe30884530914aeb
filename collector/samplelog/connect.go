package samplelog

import (
	"fmt"
	"log/slog"
	"time"

	"github.com/nats-io/nats.go"
)

// connect connects to an external server or cluster. A lost connection is made again for
// ever, to whichever server answers. What is published meanwhile fails at once instead of
// waiting unseen in the client: the batcher tries again, in order.
func (j *JetStream) connect() (*nats.Conn, error) {
	log := j.opt.Logger
	c, err := nats.Connect(j.opt.URL, nats.Name("strokewise"), nats.MaxReconnects(-1), nats.ReconnectWait(500*time.Millisecond),
		nats.Timeout(5*time.Second), nats.PingInterval(10*time.Second), nats.MaxPingsOutstanding(2), nats.ReconnectBufSize(-1), nats.ErrorHandler(j.asyncError),
		nats.DisconnectErrHandler(func(_ *nats.Conn, err error) {
			if err != nil { // nil: we end
				log.Error("no connection to the sample log's server, trying again; nothing is acknowledged meanwhile", slog.Any("error", err))
			}
		}),
		nats.ReconnectHandler(func(c *nats.Conn) {
			log.Info("connected to the sample log's server again", slog.String("server", c.ConnectedUrlRedacted()))
		}))
	if err != nil {
		return nil, fmt.Errorf("cannot connect to the sample log at %s (log.url): %w; start the NATS server there with JetStream, or leave log.url out for the embedded one", j.opt.URL, err)
	}
	return c, nil
}
