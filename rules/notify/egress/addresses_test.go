package egress

import (
	"context"
	"encoding/binary"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"net/netip"
	"strings"
	"sync"
	"sync/atomic"
	"testing"

	"golang.org/x/net/dns/dnsmessage"
)

func TestWhereReceiversMayBe(t *testing.T) {
	lan := Addresses{netip.MustParsePrefix("10.20.0.0/16"), netip.MustParsePrefix("2001:db8::/32")} // RFC 1918, RFC 3849
	for _, c := range []struct {
		at         string
		free, ours bool
	}{
		{"10.20.3.4:443", true, true}, {"10.21.3.4:443", true, false}, {"127.0.0.1:9093", true, false}, {"[::1]:25", true, false},
		{"[2001:db8::7]:443", true, true}, {"[::ffff:10.20.0.1]:80", true, true},
		{"169.254.169.254:80", false, false}, {"[fe80::1%eth0]:80", false, false}, {"[::ffff:169.254.169.254]:80", false, false}, // RFC 3927, RFC 4291
		{"224.0.0.1:80", false, false}, {"0.0.0.0:80", false, false}, {"[::]:80", false, false}, {"nonsense", false, false},
	} {
		for _, x := range []struct {
			list Addresses
			want bool
		}{{nil, c.free}, {lan, c.ours}} {
			if err := x.list.control("tcp", c.at, nil); (err == nil) != x.want {
				t.Errorf("%s with %v: %v", c.at, x.list, err)
			}
		}
	}
}

// names is a server of names that gives one address the first time, and another one afterwards.
type names struct {
	mu    sync.Mutex
	asked int
	wg    sync.WaitGroup
}

// dial is that of a net.Resolver.
func (n *names) dial(context.Context, string, string) (net.Conn, error) {
	ours, theirs := net.Pipe()
	n.wg.Go(func() { defer theirs.Close(); n.serve(theirs) })
	return ours, nil
}

// serve answers one question of a stream (RFC 1035, 4.2.2).
func (n *names) serve(c net.Conn) {
	var size [2]byte
	if _, err := io.ReadFull(c, size[:]); err != nil {
		return
	}
	b := make([]byte, binary.BigEndian.Uint16(size[:]))
	if _, err := io.ReadFull(c, b); err != nil {
		return
	}
	var m dnsmessage.Message
	if m.Unpack(b) != nil || len(m.Questions) != 1 {
		return
	}
	m.Response, m.RecursionAvailable, m.Additionals = true, true, nil
	if q := m.Questions[0]; q.Type == dnsmessage.TypeA {
		n.mu.Lock()
		at := [4]byte{127, 0, 0, 1}
		if n.asked++; n.asked > 1 {
			at = [4]byte{127, 0, 0, 2}
		}
		n.mu.Unlock()
		m.Answers = []dnsmessage.Resource{{Header: dnsmessage.ResourceHeader{Name: q.Name, Type: q.Type, Class: q.Class}, Body: &dnsmessage.AResource{A: at}}}
	}
	out, err := m.Pack()
	if err != nil {
		return
	}
	binary.BigEndian.PutUint16(size[:], uint16(len(out)))
	_, _ = c.Write(append(size[:], out...))
}

// A name that leads elsewhere once it was looked at is not followed there: what counts is the address of
// each connection.
func TestANameThatLeadsElsewhereLater(t *testing.T) {
	var taken atomic.Int64
	h := httptest.NewServer(http.HandlerFunc(func(http.ResponseWriter, *http.Request) { taken.Add(1) }))
	defer h.Close()
	var n names
	d := Addresses{netip.MustParsePrefix("127.0.0.1/32")}.Dialer()
	d.Resolver = &net.Resolver{PreferGo: true, Dial: n.dial}
	c := New(Options{Dial: d.DialContext})
	c.Transport.(*http.Transport).DisableKeepAlives = true
	_, port, _ := net.SplitHostPort(h.Listener.Addr().String())
	url := "http://alerts.example:" + port + "/in"
	res, err := c.Get(url)
	if err != nil || taken.Load() != 1 {
		t.Fatalf("%v, %d taken", err, taken.Load())
	}
	res.Body.Close()
	if _, err := c.Get(url); err == nil || !strings.Contains(err.Error(), "leads to 127.0.0.2") || taken.Load() != 1 {
		t.Errorf("%v, %d taken", err, taken.Load())
	}
	n.wg.Wait()
}

// No answer leads to another server, with what was sent or without.
func TestARedirectIsNotFollowed(t *testing.T) {
	var elsewhere atomic.Int64
	other := httptest.NewServer(http.HandlerFunc(func(http.ResponseWriter, *http.Request) { elsewhere.Add(1) }))
	defer other.Close()
	for _, code := range []int{301, 302, 303, 307, 308} {
		h := httptest.NewServer(http.RedirectHandler(other.URL, code))
		c := New(Options{})
		res, err := c.Post(h.URL, "text/plain", strings.NewReader("x"))
		if err != nil || res.StatusCode != code || elsewhere.Load() != 0 {
			t.Errorf("%d: %v, %d elsewhere", code, err, elsewhere.Load())
		}
		if err == nil {
			res.Body.Close()
		}
		c.CloseIdleConnections()
		h.Close()
	}
}

// A client that was not given a list goes to no address of the link either.
func TestWithoutAList(t *testing.T) {
	if _, err := New(Options{}).Get("http://169.254.169.254/"); err == nil || !strings.Contains(err.Error(), "no receiver may be") { // RFC 3927
		t.Error(err)
	}
}
