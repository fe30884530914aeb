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
	c, err := nats.Connect(j.opt.URL, append(j.handlers(), nats.Name("strokewise"), nats.MaxReconnects(-1), nats.ReconnectWait(500*time.Millisecond),
		nats.Timeout(5*time.Second), nats.PingInterval(10*time.Second), nats.MaxPingsOutstanding(2), nats.ReconnectBufSize(-1))...)
	if err != nil {
		return nil, fmt.Errorf("cannot connect to the sample log at %s (log.url): %w; start the NATS server there with JetStream, or leave log.url out for the embedded one", j.opt.URL, err)
	}
	return c, nil
}

// connectEmbedded connects to the embedded server, and again after that was restarted.
func (j *JetStream) connectEmbedded(p nats.InProcessConnProvider) (*nats.Conn, error) {
	c, err := nats.Connect("", append(j.handlers(), nats.InProcessServer(p), nats.MaxReconnects(-1), nats.ReconnectWait(100*time.Millisecond))...)
	if err != nil {
		return nil, fmt.Errorf("cannot connect to the embedded sample log: %w", err)
	}
	return c, nil
}

// handlers log what becomes of the connection.
func (j *JetStream) handlers() []nats.Option {
	log := j.opt.Logger
	return []nats.Option{
		nats.ErrorHandler(j.asyncError),
		nats.DisconnectErrHandler(func(_ *nats.Conn, err error) {
			if err != nil { // nil: we end
				log.Error("no connection to the sample log's server, trying again; nothing is acknowledged meanwhile", slog.Any("error", err))
			}
		}),
		nats.ReconnectHandler(func(c *nats.Conn) {
			log.Info("connected to the sample log's server again", slog.String("server", c.ConnectedUrlRedacted()))
		}),
	}
}
