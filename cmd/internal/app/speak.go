package app

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/http"
	"time"

	"strokewise/cmd/internal/health"
	"strokewise/collector/samplelog"
)

// lookEvery is how often what may not speak looks whether it may again.
const lookEvery = 250 * time.Millisecond

// speak returns nil while this process is the one that concludes, tells and serves. Every act that
// is seen outside asks right before it.
func (a *App) speak() error { return a.samples.Speaks() }

// errLost is why Run ends once another process has taken over.
var errLost = fmt.Errorf("%w: it has taken over while this process was stopped or cut off from the log's servers; this process ends so that only one concludes and tells", samplelog.ErrLease)

// lost reports whether another process has taken over.
func (a *App) lost() bool { return errors.Is(a.speak(), samplelog.ErrLease) }

// untilLost returns a context that ends with ctx, or when another process has taken over.
func (a *App) untilLost(ctx context.Context) (context.Context, context.CancelFunc) {
	out, cancel := context.WithCancel(ctx)
	go func() {
		defer cancel()
		select {
		case <-a.samples.Lost():
		case <-out.Done():
		}
	}()
	return out, cancel
}

// watchLease reports the lease as a part of the program, whenever somebody asks.
func (a *App) watchLease(p *health.Part) {
	a.health.Look(func() {
		switch err := a.speak(); {
		case errors.Is(err, samplelog.ErrDoubt):
			p.Fails("not sure that no other process has taken over: %v; nothing is concluded, told or served until the sample log's servers answer", err)
		default:
			p.Report(err)
		}
	})
}

// dial makes connections that carry nothing once we may not speak. What was about to be sent when
// the process was stopped is not sent when it goes on.
func (a *App) dial(ctx context.Context, network, address string) (net.Conn, error) {
	return a.dialBy(ctx, &net.Dialer{}, network, address)
}

// receiver makes such connections to receivers, where the configuration allows them to be.
func (a *App) receiver(ctx context.Context, network, address string) (net.Conn, error) {
	return a.dialBy(ctx, a.opt.Reach.Addresses.Dialer(), network, address)
}

func (a *App) dialBy(ctx context.Context, d *net.Dialer, network, address string) (net.Conn, error) {
	if err := a.speak(); err != nil {
		return nil, err
	}
	d.Timeout, d.KeepAlive = 30*time.Second, 30*time.Second
	c, err := d.DialContext(ctx, network, address)
	if err != nil {
		return nil, err
	}
	return spoken{c, a.speak}, nil
}

// spoken is a connection that writes only while may returns nil.
type spoken struct {
	net.Conn
	may func() error
}

// Write implements net.Conn.
func (c spoken) Write(p []byte) (int, error) {
	if err := c.may(); err != nil {
		return 0, err
	}
	return c.Conn.Write(p)
}

// onlyLive serves while we may speak. Readiness is always answered: it says why nothing else is.
func onlyLive(h http.Handler, may func() error) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.URL.Path == "/healthz" || r.URL.Path == "/readyz" {
			h.ServeHTTP(w, r)
			return
		}
		if err := may(); err != nil {
			w.Header().Set("Retry-After", "5")
			http.Error(w, "not served: "+err.Error()+". What is known here may be old; the process that holds the sample log serves it.", http.StatusServiceUnavailable)
			return
		}
		h.ServeHTTP(liveAnswer{w, may}, r)
	})
}

// liveAnswer is an answer that ends where we may not speak any more: a page that was half written, or a
// stream of events.
type liveAnswer struct {
	http.ResponseWriter
	may func() error
}

// Write implements http.ResponseWriter.
func (l liveAnswer) Write(p []byte) (int, error) {
	if err := l.may(); err != nil {
		return 0, err
	}
	return l.ResponseWriter.Write(p)
}

// Unwrap lets http.ResponseController reach the connection.
func (l liveAnswer) Unwrap() http.ResponseWriter { return l.ResponseWriter }
