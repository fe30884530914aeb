package notify

import (
	"context"
	"crypto/sha256"
	"crypto/tls"
	"encoding/hex"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"strconv"
	"strings"
	"time"
	"unicode"

	"github.com/wneessen/go-mail"

	"strokewise/analyzer/station"
	"strokewise/rules"
	"strokewise/rules/notify/egress"
)

const (
	mailTimeout = 20 * time.Second
	subjectMost = 150 // runes
	digestMost  = 500 // items in one digest

	waitsForDigest = "waits for the digest"
)

// Waiting gives what waits for a receiver, in the order in which it was concluded.
type Waiting interface {
	OutboxWaiting(ctx context.Context, receiver string, limit int) ([]Item, error)
	OutboxDone(ctx context.Context, id int64) error
}

// Mail is a receiver that is written to by SMTP: a mail for each transition of high and
// medium priority, and once a day a digest of the others.
type Mail struct {
	Name     string
	Server   string // host:port
	From     string
	To       []string
	User     string // "" no login
	Password string
	NoTLS    bool        // allowed to a loopback address only; else STARTTLS or nothing is sent
	TLS      *tls.Config // nil: the system's authorities
	Digest   time.Duration
	Zones    map[string]*time.Location // by site
	Pages    string                    // address of our pages, for links; "" none
	Waiting  Waiting
	Known    Known
	Logger   *slog.Logger     // nil: none
	Now      func() time.Time // nil: the clock
	Timeout  time.Duration    // for a whole mail, 0: 20 s
	Dial     egress.Dial      // nil: the usual one
}

// Deliver writes an item's mail, or the digest that it belongs to.
func (m *Mail) Deliver(ctx context.Context, i *Item) (time.Duration, error) {
	t := &i.Transition
	if t.Priority >= rules.Medium {
		subject, body := mailText(t, m.Known, m.zone(t.Key.Site), m.Pages)
		return 0, m.send(ctx, subject, body, t.ID())
	}
	last, next := digestTimes(m.now(), m.Digest, m.zone(t.Key.Site))
	if i.Due != station.InstantOf(last) && !t.At.Time().Before(last) { // not one that waited for this digest
		return 0, &Later{Until: next, Why: waitsForDigest}
	}
	return 0, m.digest(ctx, i)
}

// Test writes a mail that says that it is a test.
func (m *Mail) Test(ctx context.Context) (string, error) {
	t := testTransition(m.now())
	if err := m.send(ctx, "[strokewise] test", t.Message+"\n\n"+reminder+"\n", t.ID()); err != nil {
		return "", err
	}
	return "mail taken by " + m.Server, nil
}

// Close does nothing: each mail has its own connection.
func (m *Mail) Close() {}

func (m *Mail) now() time.Time {
	if m.Now != nil {
		return m.Now()
	}
	return time.Now()
}

func (m *Mail) timeout() time.Duration {
	if m.Timeout > 0 {
		return m.Timeout
	}
	return mailTimeout
}

func (m *Mail) zone(site string) *time.Location {
	if z := m.Zones[site]; z != nil {
		return z
	}
	return time.UTC
}

// send writes one mail. The identifier makes the Message-ID, so that a mail sent again
// after a lost answer is known as the same.
func (m *Mail) send(ctx context.Context, subject, body, id string) error {
	msg := mail.NewMsg()
	if err := msg.From(m.From); err != nil {
		return fmt.Errorf("cannot write from %q: %w", m.From, err)
	}
	if err := msg.To(m.To...); err != nil {
		return fmt.Errorf("cannot write to %q: %w", m.To, err)
	}
	sum := sha256.Sum256([]byte(id))
	msg.SetMessageIDWithValue(hex.EncodeToString(sum[:16]) + "@strokewise")
	msg.SetDateWithValue(m.now())
	msg.SetGenHeader("Auto-Submitted", "auto-generated") // RFC 3834: no absence notes as answers
	msg.SetUserAgent("strokewise")
	msg.Subject(oneLine(subject, subjectMost))
	msg.SetBodyString(mail.TypeTextPlain, body)
	c, err := m.client()
	if err != nil {
		return err
	}
	ctx, cancel := context.WithTimeout(ctx, m.timeout())
	defer cancel()
	err = c.DialAndSendWithContext(ctx, msg)
	if unknown := (*mail.SendError)(nil); errors.As(err, &unknown) && unknown.Reason == mail.ErrSMTPRcptTo && !unknown.IsTemp() && len(m.To) > 1 {
		err = m.each(ctx, c, msg, err)
	}
	if err != nil {
		return fmt.Errorf("cannot send mail by %s: %w", m.Server, err)
	}
	return nil
}

// each writes to one recipient after the other, because the server refuses some for good:
// one address that is no more must not keep the others from being told. It is enough that
// one is taken.
func (m *Mail) each(ctx context.Context, c *mail.Client, msg *mail.Msg, why error) error {
	taken := 0
	for _, to := range m.To {
		if err := msg.To(to); err != nil {
			return err
		}
		if err := c.DialAndSendWithContext(ctx, msg); err == nil {
			taken++
		} else if m.Logger != nil {
			m.Logger.Warn("a mail's recipient is refused", "receiver", m.Name, "to", to, "error", err)
		}
	}
	if taken == 0 {
		return why
	}
	return nil
}

func (m *Mail) client() (*mail.Client, error) {
	host, p, err := net.SplitHostPort(m.Server)
	port, bad := strconv.Atoi(p)
	if err != nil || bad != nil {
		return nil, fmt.Errorf("cannot use mail server %q: name host:port", m.Server)
	}
	conf := &tls.Config{MinVersion: tls.VersionTLS12}
	if m.TLS != nil {
		conf = m.TLS.Clone()
	}
	conf.ServerName = host
	opt := []mail.Option{mail.WithPort(port), mail.WithTimeout(m.timeout()), mail.WithTLSConfig(conf), mail.WithTLSPolicy(mail.TLSMandatory)}
	if m.Dial != nil {
		opt = append(opt, mail.WithDialContextFunc(mail.DialContextFunc(m.Dial)))
	}
	if m.NoTLS {
		opt = append(opt, mail.WithTLSPolicy(mail.NoTLS))
	}
	if m.User != "" {
		auth := mail.SMTPAuthAutoDiscover
		if m.NoTLS { // to loopback alone, where a login in clear is nobody's but ours
			auth = mail.SMTPAuthPlainNoEnc
		}
		opt = append(opt, mail.WithSMTPAuth(auth), mail.WithUsername(m.User), mail.WithPassword(m.Password))
	}
	c, err := mail.NewClient(host, opt...)
	if err != nil {
		return nil, fmt.Errorf("cannot use mail server %s: %w", m.Server, err)
	}
	return c, nil
}

// oneLine makes a text fit for a header: control characters, line breaks and what changes the
// direction of others become spaces, and it is cut to some runes.
func oneLine(s string, most int) string {
	r := []rune(strings.Join(strings.Fields(strings.Map(func(r rune) rune {
		if unicode.IsControl(r) || misleading(r) {
			return ' '
		}
		return r
	}, strings.ToValidUTF8(s, "\ufffd"))), " "))
	if len(r) > most {
		r = append(r[:most-1], '…')
	}
	return string(r)
}

// misleading reports whether a character breaks lines or turns the direction of those behind it.
func misleading(r rune) bool {
	return r == '\u2028' || r == '\u2029' || r >= '\u202a' && r <= '\u202e' || r >= '\u2066' && r <= '\u2069'
}

// local gives an instant by a site's clock, with its zone.
func local(t station.Instant, zone *time.Location) string {
	return t.Time().In(zone).Format("2006-01-02 15:04:05 MST")
}
