// Package egress makes the connections on which the program sends something on: to receivers of alarms, of the
// audit and of the export. It is the one answer to where these may go: to addresses that the configuration
// allows, and never where an answer redirects to.
package egress

import (
	"context"
	"crypto/tls"
	"net"
	"net/http"
	"time"
)

// Dial makes connections.
type Dial func(ctx context.Context, network, address string) (net.Conn, error)

// Options say how a client sends.
type Options struct {
	Dial    Dial          // nil: to any address that a receiver may have without a list (Addresses)
	TLS     *tls.Config   // nil: the usual one
	Timeout time.Duration // of a request as a whole; 0: that of its context
	Idle    int           // connections to a host that wait for the next request; 0: two
}

// New returns a client that follows no redirect. The environment's HTTP proxies are used; Dial then sees the
// address of the proxy.
func New(o Options) *http.Client {
	t := http.DefaultTransport.(*http.Transport).Clone()
	if t.DialContext = o.Dial; o.Dial == nil {
		t.DialContext = Addresses(nil).Dialer().DialContext
	}
	if o.TLS != nil {
		t.TLSClientConfig = o.TLS
	}
	t.MaxIdleConnsPerHost = o.Idle
	return &http.Client{Transport: t, Timeout: o.Timeout, CheckRedirect: stay}
}

// stay is what a client does with a redirect: its answer is the answer.
func stay(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }
