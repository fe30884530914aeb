package notify

import (
	"bytes"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"io"
	"math/big"
	"mime"
	"mime/quotedprintable"
	"net"
	"net/mail"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/emersion/go-sasl"
	"github.com/emersion/go-smtp"

	"strokewise/analyzer/station"
	"strokewise/rules"
)

// letterbox is a real SMTP server in this process.
type letterbox struct {
	addr  string
	roots *x509.CertPool

	unknown []string // recipients that are refused

	mu      sync.Mutex
	refuse  error         // said to the body
	slow    time.Duration // before the body is answered
	letters []letter
}

type letter struct {
	from   string
	to     []string
	user   string
	secure bool
	raw    []byte
}

// newLetterbox starts a server; without TLS it offers no STARTTLS.
func newLetterbox(t *testing.T, withTLS bool) *letterbox {
	t.Helper()
	b := &letterbox{roots: x509.NewCertPool()}
	srv := smtp.NewServer(smtp.BackendFunc(func(c *smtp.Conn) (smtp.Session, error) { return &postman{box: b, conn: c}, nil }))
	srv.Domain, srv.ReadTimeout, srv.WriteTimeout, srv.AllowInsecureAuth = "localhost", patience, patience, true
	srv.ErrorLog = quietLog{}
	if withTLS {
		srv.TLSConfig = &tls.Config{Certificates: []tls.Certificate{b.certificate(t)}}
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	b.addr = l.Addr().String()
	done := make(chan struct{})
	go func() { srv.Serve(l); close(done) }()
	t.Cleanup(func() { srv.Close(); <-done })
	return b
}

type quietLog struct{}

func (quietLog) Printf(string, ...any) {}
func (quietLog) Println(...any)        {}

func (b *letterbox) certificate(t *testing.T) tls.Certificate {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	c := &x509.Certificate{SerialNumber: big.NewInt(1), NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour), IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)}}
	der, err := x509.CreateCertificate(rand.Reader, c, c, &key.PublicKey, key)
	if err != nil {
		t.Fatal(err)
	}
	made, err := x509.ParseCertificate(der)
	if err != nil {
		t.Fatal(err)
	}
	b.roots.AddCert(made)
	return tls.Certificate{Certificate: [][]byte{der}, PrivateKey: key}
}

// postman is a session.
type postman struct {
	box  *letterbox
	conn *smtp.Conn
	letter
}

func (p *postman) AuthMechanisms() []string { return []string{sasl.Plain} }

func (p *postman) Auth(string) (sasl.Server, error) {
	return sasl.NewPlainServer(func(_, user, password string) error {
		if password != "s3cret" {
			return errors.New("wrong password")
		}
		p.user = user
		return nil
	}), nil
}

func (p *postman) Reset()        { p.from, p.to = "", nil }
func (p *postman) Logout() error { return nil }

func (p *postman) Mail(from string, _ *smtp.MailOptions) error { p.from = from; return nil }

func (p *postman) Rcpt(to string, _ *smtp.RcptOptions) error {
	if slices.Contains(p.box.unknown, to) {
		return &smtp.SMTPError{Code: 550, Message: "no such person"}
	}
	p.to = append(p.to, to)
	return nil
}

func (p *postman) Data(r io.Reader) error {
	raw, err := io.ReadAll(r)
	if err != nil {
		return err
	}
	p.box.mu.Lock()
	refuse, slow := p.box.refuse, p.box.slow
	p.box.mu.Unlock()
	time.Sleep(slow)
	if refuse != nil {
		return refuse
	}
	_, p.secure = p.conn.TLSConnectionState()
	x := p.letter
	x.raw = raw
	p.box.mu.Lock()
	p.box.letters = append(p.box.letters, x)
	p.box.mu.Unlock()
	return nil
}

func (b *letterbox) set(refuse error, slow time.Duration) {
	b.mu.Lock()
	b.refuse, b.slow = refuse, slow
	b.mu.Unlock()
}

func (b *letterbox) all() []letter {
	b.mu.Lock()
	defer b.mu.Unlock()
	return append([]letter(nil), b.letters...)
}

// mailTo gives a receiver that writes to a server.
func (b *letterbox) receiver(m *Mail) *Mail {
	m.Name, m.Server, m.From, m.To = "shift", b.addr, "boost@plant.example", []string{"shift@plant.example", "lead@plant.example"}
	m.TLS, m.Digest = &tls.Config{RootCAs: b.roots}, 6*time.Hour
	return m
}

// read splits a letter.
func read(t *testing.T, x *letter) (h mail.Header, subject, body string) {
	t.Helper()
	m, err := mail.ReadMessage(bytes.NewReader(x.raw))
	if err != nil {
		t.Fatal(err)
	}
	subject, err = (&mime.WordDecoder{}).DecodeHeader(m.Header.Get("Subject"))
	if err != nil {
		t.Fatal(err)
	}
	text, err := io.ReadAll(quotedprintable.NewReader(m.Body))
	if err != nil {
		t.Fatal(err)
	}
	return m.Header, subject, strings.ReplaceAll(string(text), "\r\n", "\n")
}

func TestMailByStartTLS(t *testing.T) {
	b := newLetterbox(t, true)
	berlin, _ := time.LoadLocation("Europe/Berlin")
	m := b.receiver(&Mail{User: "boost", Password: "s3cret", Zones: map[string]*time.Location{"northdock": berlin}, Pages: "https://monitor.example"})
	raise := leftAlarm(time.Date(2026, 7, 1, 12, 0, 0, 0, time.UTC), rules.Unacknowledged)
	for range 2 { // the second is a repetition
		if _, err := m.Deliver(t.Context(), &Item{Transition: raise}); err != nil {
			t.Fatal(err)
		}
	}
	all := b.all()
	if len(all) != 2 {
		t.Fatalf("%d letters", len(all))
	}
	x := all[0]
	if !x.secure || x.user != "boost" || x.from != "boost@plant.example" || len(x.to) != 2 {
		t.Errorf("secure %v, user %q, from %q to %v", x.secure, x.user, x.from, x.to)
	}
	h, subject, body := read(t, &x)
	if subject != "[strokewise] high: pressure-left raised at northdock/press-4" {
		t.Error(subject)
	}
	if !strings.HasPrefix(body, "CAUTION: Reading only") || strings.Index(body, "830 kPa are left.") > strings.Index(body, "outlet pressure: 830 kPa") {
		t.Errorf("caution, message and evidence are not first:\n%s", body)
	}
	for _, want := range []string{"14:00:00 CEST", "https://monitor.example/station/northdock/press-4", reminder, "before anybody works on the line"} {
		if !strings.Contains(body, want) {
			t.Errorf("no %q in\n%s", want, body)
		}
	}
	again, _, _ := read(t, &all[1])
	if h.Get("Message-ID") == "" || h.Get("Message-ID") != again.Get("Message-ID") || h.Get("Auto-Submitted") != "auto-generated" {
		t.Errorf("%v", h)
	}
}

// Whatever stands in a message, no header and no recipient comes of it.
func TestMailTakesNoHeaderFromATransition(t *testing.T) {
	b := newLetterbox(t, true)
	m := b.receiver(&Mail{})
	raise := leftAlarm(time.Now(), rules.Unacknowledged)
	evil := "x\r\nBcc: thief@example.org\r\n\r\n.\r\nMAIL FROM:<thief@example.org>\r\n"
	raise.Alarm, raise.Key.Station, raise.Branch, raise.Message, raise.Caution = "a"+evil, "s"+evil, evil, evil, evil
	raise.Evidence = []rules.Evidence{{Name: evil, Text: evil}}
	if _, err := m.Deliver(t.Context(), &Item{Transition: raise}); err != nil {
		t.Fatal(err)
	}
	all := b.all()
	if len(all) != 1 || len(all[0].to) != 2 {
		t.Fatalf("%d letters", len(all))
	}
	h, subject, _ := read(t, &all[0])
	if h.Get("Bcc") != "" || strings.ContainsAny(subject, "\r\n") || len(h) > 12 {
		t.Errorf("%v", h)
	}
}

// A server in every bad way: the error says so, and nothing is lost or sent in clear.
func TestMailServersThatFail(t *testing.T) {
	raise := leftAlarm(time.Now(), rules.Unacknowledged)
	try := func(m *Mail) error { _, err := m.Deliver(t.Context(), &Item{Transition: raise}); return err }
	t.Run("down", func(t *testing.T) {
		l, _ := net.Listen("tcp", "127.0.0.1:0")
		l.Close()
		if err := try(&Mail{Server: l.Addr().String(), From: "a@b.example", To: []string{"c@d.example"}}); err == nil || !strings.Contains(err.Error(), l.Addr().String()) {
			t.Error(err)
		}
	})
	t.Run("4xx and 5xx", func(t *testing.T) {
		b := newLetterbox(t, true)
		for _, code := range []int{451, 554} {
			b.set(&smtp.SMTPError{Code: code, Message: "not now"}, 0)
			if err := try(b.receiver(&Mail{})); err == nil || !strings.Contains(err.Error(), "not now") {
				t.Error(code, err)
			}
		}
	})
	t.Run("no STARTTLS", func(t *testing.T) {
		b := newLetterbox(t, false)
		if err := try(b.receiver(&Mail{User: "boost", Password: "s3cret"})); err == nil || len(b.all()) != 0 {
			t.Error("sent in clear:", err)
		}
		if err := try(b.receiver(&Mail{NoTLS: true, User: "boost", Password: "s3cret"})); err != nil || len(b.all()) != 1 {
			t.Error("to loopback, as configured:", err)
		}
	})
	t.Run("a stranger's certificate", func(t *testing.T) {
		b := newLetterbox(t, true)
		m := b.receiver(&Mail{})
		m.TLS = &tls.Config{RootCAs: x509.NewCertPool()}
		if err := try(m); err == nil || len(b.all()) != 0 {
			t.Error("sent to a stranger:", err)
		}
	})
	t.Run("a wrong password", func(t *testing.T) {
		b := newLetterbox(t, true)
		if err := try(b.receiver(&Mail{User: "boost", Password: "wrong"})); err == nil || strings.Contains(err.Error(), "wrong\"") {
			t.Error(err)
		}
	})
	t.Run("one recipient is no more", func(t *testing.T) {
		b := newLetterbox(t, true)
		b.unknown = []string{"lead@plant.example"}
		if err := try(b.receiver(&Mail{})); err != nil || len(b.all()) != 1 || b.all()[0].to[0] != "shift@plant.example" {
			t.Errorf("%v: %+v", err, b.all())
		}
		b.unknown = append(b.unknown, "shift@plant.example")
		if err := try(b.receiver(&Mail{})); err == nil {
			t.Error("nobody is told, and that is no error")
		}
	})
	t.Run("slow", func(t *testing.T) {
		b := newLetterbox(t, true)
		b.set(nil, 700*time.Millisecond)
		m := b.receiver(&Mail{Timeout: 200 * time.Millisecond})
		if err := try(m); err == nil {
			t.Error("an answer that comes after the timeout is waited for")
		}
	})
}

// Low ones and findings wait for the site's hour, through the sender and the outbox, and
// come in one mail; what is high does not wait.
func TestMailDigest(t *testing.T) {
	b := newLetterbox(t, true)
	c := &clock{time.Date(2026, 3, 28, 12, 0, 0, 0, time.UTC)}
	o := newBox("shift", "signal-lost", "signal-lost", "supply-undersized", "pressure-left")
	for i := range o.items {
		tr := &o.items[i].Transition
		tr.At, tr.Raised = station.InstantOf(c.at), station.InstantOf(c.at)
		if tr.Alarm != "pressure-left" {
			tr.Priority = rules.Low
		}
	}
	berlin, _ := time.LoadLocation("Europe/Berlin")
	m := b.receiver(&Mail{Waiting: o, Now: func() time.Time { return c.at }, Zones: map[string]*time.Location{"northdock": berlin}})
	s := New(o, nil, nil)
	s.Add("shift", m)
	r := s.receivers[0]
	r.now = m.Now
	for r.round(t.Context()) {
	}
	if n := len(b.all()); n != 1 || o.left() != 3 {
		t.Fatalf("%d letters at once, %d wait", n, o.left())
	}
	var at time.Time
	for end := c.at.Add(36 * time.Hour); c.at.Before(end); c.at = c.at.Add(10 * time.Minute) {
		r.round(t.Context())
		if len(b.all()) == 2 && at.IsZero() {
			at = c.at
		}
	}
	// the clocks went forward that night: 06:00 is 04:00 UTC, not 05:00
	if want := time.Date(2026, 3, 29, 4, 0, 0, 0, time.UTC); !at.Equal(want) || len(b.all()) != 2 || o.left() != 0 {
		t.Fatalf("digest at %s; %d letters, %d left", at, len(b.all()), o.left())
	}
	_, subject, body := read(t, &b.all()[1])
	if !strings.Contains(subject, "3 low-priority alarms") || strings.Count(body, "signal-lost") != 2 || r.failed != 0 {
		t.Errorf("%s\n%s\n%d failed", subject, body, r.failed)
	}
}

func TestDigestTimes(t *testing.T) {
	berlin, _ := time.LoadLocation("Europe/Berlin")
	for _, c := range []struct {
		now, last, next string
		at              time.Duration
	}{
		{"2026-06-01T03:59:59Z", "2026-05-31T04:00:00Z", "2026-06-01T04:00:00Z", 6 * time.Hour},
		{"2026-06-01T04:00:00Z", "2026-06-01T04:00:00Z", "2026-06-02T04:00:00Z", 6 * time.Hour},
		{"2026-03-28T12:00:00Z", "2026-03-28T05:00:00Z", "2026-03-29T04:00:00Z", 6 * time.Hour}, // forward
		{"2026-10-24T12:00:00Z", "2026-10-24T04:00:00Z", "2026-10-25T05:00:00Z", 6 * time.Hour}, // back
		{"2026-01-10T23:30:00Z", "2026-01-10T23:00:00Z", "2026-01-11T23:00:00Z", 0},
	} {
		now, _ := time.Parse(time.RFC3339, c.now)
		last, next := digestTimes(now, c.at, berlin)
		if l, n := last.UTC().Format(time.RFC3339), next.UTC().Format(time.RFC3339); l != c.last || n != c.next {
			t.Errorf("at %s: %s and %s, expected %s and %s", c.now, l, n, c.last, c.next)
		}
	}
	// over two years every moment lies between its two times, which are a day apart or so
	for now := time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC); now.Year() < 2028; now = now.Add(37 * time.Minute) {
		last, next := digestTimes(now, 2*time.Hour+30*time.Minute, berlin)
		if d := next.Sub(last); last.After(now) || !next.After(now) || d < 22*time.Hour || d > 26*time.Hour {
			t.Fatalf("at %s: %s and %s", now, last, next)
		}
	}
}
