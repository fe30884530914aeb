package samplelog

import (
	"crypto/tls"
	"errors"
	"fmt"
	"log/slog"
	"time"

	"github.com/nats-io/nats.go"
)

// connect connects to an external server or cluster. A lost connection is made again for
// ever, to whichever server answers. What is published meanwhile fails at once instead of
// waiting unseen in the client: the batcher tries again, in order.
func (j *JetStream) connect() (*nats.Conn, error) {
	login, err := j.opt.Login.options()
	if err != nil {
		return nil, fmt.Errorf("cannot log in at the sample log (log.nkey_file): %w", err)
	}
	o := append(j.handlers(), nats.Name("strokewise"), nats.MaxReconnects(-1), nats.ReconnectWait(500*time.Millisecond),
		nats.Timeout(5*time.Second), nats.PingInterval(10*time.Second), nats.MaxPingsOutstanding(2), nats.ReconnectBufSize(-1),
		nats.IgnoreAuthErrorAbort())
	c, err := nats.Connect(j.opt.URL, append(o, login...)...)
	switch {
	case errors.Is(err, nats.ErrAuthorization):
		return nil, fmt.Errorf("cannot log in at the sample log at %s: %w; set one of log.credentials_file, log.nkey_file, log.token_file, or log.user with log.password_file, to what the server knows", j.opt.URL, err)
	case errors.As(err, new(*tls.CertificateVerificationError)):
		return nil, fmt.Errorf("cannot trust the sample log at %s: %w; name the authority of its certificate in log.tls.ca_file", j.opt.URL, err)
	case errors.Is(err, nats.ErrSecureConnRequired):
		return nil, fmt.Errorf("cannot connect to the sample log at %s: %w; begin log.url with tls://, and name the authority of its certificate in log.tls.ca_file", j.opt.URL, err)
	case err != nil:
		return nil, fmt.Errorf("cannot connect to the sample log at %s (log.url): %w; start the NATS server there with JetStream (one that asks for our certificate needs log.tls.cert_file and key_file), or leave log.url out for the embedded one", j.opt.URL, err)
	}
	return c, nil
}

// connectEmbedded connects to the embedded server, and again after that was restarted. A server that is short of the
// processor answers late.
func (j *JetStream) connectEmbedded(p nats.InProcessConnProvider) (*nats.Conn, error) {
	c, err := nats.Connect("", append(j.handlers(), nats.InProcessServer(p), nats.Timeout(startWait), nats.MaxReconnects(-1), nats.ReconnectWait(100*time.Millisecond))...)
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
