package trail

import (
	"bufio"
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"net/netip"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"strokewise/rules/notify/egress"
)

// heap is a target that keeps lines, or refuses them.
type heap struct {
	lines  chan string
	refuse func(*Entry) error
}

func (h *heap) Send(_ context.Context, line []byte, e *Entry) error {
	if h.refuse != nil {
		if err := h.refuse(e); err != nil {
			return err
		}
	}
	h.lines <- string(line)
	return nil
}

func (h *heap) Close() {}

func opened(t *testing.T, path string) *Trail {
	t.Helper()
	tr, err := Open(path, noon)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { tr.Close() })
	return tr
}

func say(t *testing.T, tr *Trail, texts ...string) {
	t.Helper()
	for _, x := range texts {
		if err := tr.Append(Entry{At: noon, Who: "ana", What: "note", Detail: x, Outcome: "done"}); err != nil {
			t.Fatal(err)
		}
	}
}

// run runs a forwarder until the function that is returned is called.
func run(f *Forwarder) (stop func()) {
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan struct{})
	go func() { f.Run(ctx); close(done) }()
	return func() { cancel(); <-done }
}

func hears(t *testing.T, h *heap, details ...string) {
	t.Helper()
	for _, want := range details {
		if got := <-h.lines; !strings.Contains(got, `"detail":"`+want+`"`) {
			t.Fatalf("%s, want %q", got, want)
		}
	}
}

// Lines that were there before, and those that come, are sent once and in their order, over a
// restart; a trail that was put in the place of another one is sent from its beginning.
func TestForwarding(t *testing.T) {
	dir := t.TempDir()
	path, state := filepath.Join(dir, "audit.jsonl"), filepath.Join(dir, "sent")
	tr := opened(t, path)
	say(t, tr, "one", "two")
	h := &heap{lines: make(chan string, 100)}
	stop := run(NewForwarder(tr, state, h))
	hears(t, h, "one", "two")
	say(t, tr, "three")
	hears(t, h, "three")
	stop()
	say(t, tr, "four")
	stop = run(NewForwarder(tr, state, h))
	hears(t, h, "four")
	stop()
	if len(h.lines) != 0 {
		t.Errorf("sent twice: %s", <-h.lines)
	}
	other := opened(t, filepath.Join(dir, "other.jsonl"))
	say(t, other, "uno", "due", "tre", "quattro", "cinque")
	stop = run(NewForwarder(other, state, h))
	hears(t, h, "uno", "due", "tre", "quattro", "cinque")
	stop()
	if info, err := os.Stat(state); err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("%v %v", info, err)
	}
}

// A target that refuses holds nobody up, is named, and has every line in the end.
func TestATargetThatIsAway(t *testing.T) {
	dir := t.TempDir()
	tr := opened(t, filepath.Join(dir, "audit.jsonl"))
	away := make(chan struct{}, 1)
	h := &heap{lines: make(chan string, 100)}
	tries := 0
	h.refuse = func(e *Entry) error {
		if tries++; tries == 1 {
			away <- struct{}{}
			return errors.New("nobody there")
		}
		return nil
	}
	f := NewForwarder(tr, filepath.Join(dir, "sent"), h)
	stop := run(f)
	say(t, tr, "one")
	<-away
	say(t, tr, "two", "three") // written down at once
	hears(t, h, "one", "two", "three")
	stop()
	h.refuse = func(*Entry) error { return errors.New("nobody there") }
	say(t, tr, "four")
	if err := f.pass(t.Context()); err == nil || err.Error() != "entry 4: nobody there" {
		t.Error(err)
	}
}

// rfc5424 is the ABNF of RFC 5424, section 6, of a message without structured data.
var rfc5424 = regexp.MustCompile(`^<(\d{1,3})>1 \d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d{1,6})?Z [!-~]{1,255} [!-~]{1,48} [!-~]{1,128} [!-~]{1,32} - (.*)$`)

// A collector reads what RFC 5425 says, over TLS and TCP; one that breaks the connection has the next
// line over another one, and one that is not known is told nothing.
func TestSyslog(t *testing.T) {
	known := httptest.NewUnstartedServer(nil)
	known.StartTLS() // for its certificate
	defer known.Close()
	trusting := known.Client().Transport.(*http.Transport).TLSClientConfig.Clone()
	trusting.ServerName = "example.com" // of httptest's certificate
	for name, way := range map[string]*tls.Config{"tcp": nil, "tls": trusting} {
		t.Run(name, func(t *testing.T) {
			l, err := net.Listen("tcp", "127.0.0.1:0")
			if err != nil {
				t.Fatal(err)
			}
			defer l.Close()
			if way != nil {
				l = tls.NewListener(l, &tls.Config{Certificates: known.TLS.Certificates})
			}
			got, errs := make(chan string), make(chan error, 1)
			go collect(l, got, errs)
			s := &Syslog{Address: l.Addr().String(), TLS: way}
			defer s.Close()
			data, _, _ := written(t, 2)
			for i, line := range strings.SplitAfter(strings.TrimSpace(string(data)), "\n") {
				line = strings.TrimSpace(line)
				e := &Entry{At: noon, Outcome: []string{"Done", "denied"}[i%2]}
				if err := s.Send(t.Context(), []byte(line), e); err != nil {
					t.Fatal(err)
				}
				m := rfc5424.FindStringSubmatch(<-got)
				if m == nil || m[1] != []string{"109", "108"}[i%2] || m[3] != line { // 13*8+5, 13*8+4
					t.Errorf("%q of %q", m, line)
				}
				<-s.gone // collect ends the connection after a message
			}
			if len(errs) > 0 {
				t.Error(<-errs)
			}
		})
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	l = tls.NewListener(l, &tls.Config{Certificates: known.TLS.Certificates})
	defer l.Close()
	got := make(chan string, 1)
	go collect(l, got, make(chan error, 1))
	s := &Syslog{Address: l.Addr().String(), TLS: &tls.Config{ServerName: "example.com"}}
	if err := s.Send(t.Context(), []byte("{}"), &Entry{}); err == nil || len(got) > 0 {
		t.Errorf("an unknown collector: %v", err)
	}
}

// collect reads one message from each connection, and ends it.
func collect(l net.Listener, got chan<- string, errs chan<- error) {
	for {
		c, err := l.Accept()
		if err != nil {
			return
		}
		r := bufio.NewReader(c)
		length, err := r.ReadString(' ')
		n, bad := strconv.Atoi(strings.TrimSuffix(length, " "))
		if err == nil && bad == nil && n < 10_000 {
			text := make([]byte, n)
			if _, err = io.ReadFull(r, text); err == nil {
				got <- string(text)
			}
		}
		if err != nil || bad != nil {
			select {
			case errs <- fmt.Errorf("length %q: %v", length, err):
			default:
			}
		}
		c.Close()
	}
}

// A receiver has each line as it stands in the trail; a redirect is not followed, and a refusal named
// without the address, which may hold a secret.
func TestWebhook(t *testing.T) {
	var got []string
	status := http.StatusAccepted
	elsewhere := httptest.NewServer(http.HandlerFunc(func(http.ResponseWriter, *http.Request) { t.Error("a redirect was followed") }))
	defer elsewhere.Close()
	srv := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		b, _ := io.ReadAll(r.Body)
		got = append(got, r.Header.Get("Authorization")+" "+string(b))
		w.Header().Set("Location", elsewhere.URL)
		w.WriteHeader(status)
	}))
	defer srv.Close()
	w := &Webhook{URL: srv.URL + "/?key=hidden", Header: http.Header{"Authorization": {"Bearer x"}}, Client: egress.New(egress.Options{})}
	defer w.Close()
	if err := w.Send(t.Context(), []byte(`{"n":1}`), nil); err != nil || got[0] != `Bearer x {"n":1}` {
		t.Error(err, got)
	}
	for _, status = range []int{http.StatusTemporaryRedirect, http.StatusForbidden} {
		if err := w.Send(t.Context(), []byte(`{"n":2}`), nil); err == nil || !strings.Contains(err.Error(), strconv.Itoa(status)) || strings.Contains(err.Error(), "hidden") {
			t.Error(err)
		}
	}
	srv.Close()
	if err := w.Send(t.Context(), nil, nil); err == nil || strings.Contains(err.Error(), "hidden") {
		t.Error(err)
	}
}

// The audit goes to no receiver beside those addresses that the configuration allows, by either way, and its lines
// carry the signature that events carry.
func TestTheAuditStaysWhereReceiversMayBe(t *testing.T) {
	key := []byte("a key of a test, thirty-two bytes")
	var got, want string
	taken := 0
	srv := httptest.NewServer(http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) {
		taken++
		got = r.Header.Get(egress.SignatureHeader)
		at, _, _ := strings.Cut(strings.TrimPrefix(got, "at="), ",")
		seconds, _ := strconv.ParseInt(at, 10, 64)
		b, _ := io.ReadAll(r.Body)
		want = egress.Signed(nil, key, b, time.Unix(seconds, 0)).Get(egress.SignatureHeader)
	}))
	defer srv.Close()
	here, there := egress.Addresses{netip.MustParsePrefix("127.0.0.1/32")}, egress.Addresses{netip.MustParsePrefix("10.20.0.0/16")} // RFC 1918
	hook := func(l egress.Addresses) *Webhook {
		return &Webhook{URL: srv.URL, SignKey: key, Client: egress.New(egress.Options{Dial: l.Dialer().DialContext})}
	}
	w := hook(here)
	defer w.Close()
	if err := w.Send(t.Context(), []byte(`{"n":1}`), nil); err != nil || got == "" || got != want {
		t.Errorf("%v, signature %q, want %q", err, got, want)
	}
	address := strings.TrimPrefix(srv.URL, "http://")
	for name, to := range map[string]Target{"webhook": hook(there), "syslog": &Syslog{Address: address, Dialer: there.Dialer()},
		"syslog over TLS": &Syslog{Address: address, TLS: &tls.Config{}, Dialer: there.Dialer()}} {
		if err := to.Send(t.Context(), []byte(`{"n":2}`), &Entry{}); err == nil || !strings.Contains(err.Error(), "leads to 127.0.0.1") || taken != 1 {
			t.Errorf("%s: %v, %d taken", name, err, taken)
		}
	}
}
