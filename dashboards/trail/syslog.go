package trail

import (
	"context"
	"crypto/tls"
	"fmt"
	"io"
	"net"
	"os"
	"strconv"
	"strings"
	"time"

	"strokewise/rules/notify/egress"
)

// Syslog sends the lines of a trail to a collector of logs: RFC 5424 messages, counted by their
// octets as RFC 5425 says, over TLS or, on this machine, TCP. The message is the line, so that the
// copy can be verified as the trail itself. Syslog acknowledges nothing: what was written just before
// a connection broke may be lost, which the entries' numbers show.
type Syslog struct {
	Address string      // host and port
	TLS     *tls.Config // nil: plain TCP
	Dialer  *net.Dialer // nil: to any address that a receiver may have

	conn net.Conn
	gone chan struct{} // closed once the collector has ended the connection
}

// patience bounds a connection's making and each message. Own choice, no source.
const patience = 10 * time.Second

// Send writes a line's message.
func (s *Syslog) Send(ctx context.Context, line []byte, e *Entry) error {
	if err := s.connect(ctx); err != nil {
		return fmt.Errorf("cannot reach syslog: %w", err)
	}
	_ = s.conn.SetWriteDeadline(time.Now().Add(patience)) // a connection that has ended fails below
	text := message(line, e)
	if _, err := fmt.Fprintf(s.conn, "%d %s", len(text), text); err != nil {
		s.Close()
		return fmt.Errorf("cannot write to syslog: %w", err)
	}
	return nil
}

func (s *Syslog) connect(ctx context.Context) (err error) {
	if s.conn != nil {
		select {
		case <-s.gone:
			s.Close()
		default:
			return nil
		}
	}
	ctx, cancel := context.WithTimeout(ctx, patience)
	defer cancel()
	d := s.Dialer
	if d == nil {
		d = egress.Addresses(nil).Dialer()
	}
	if s.TLS != nil {
		s.conn, err = (&tls.Dialer{NetDialer: d, Config: s.TLS}).DialContext(ctx, "tcp", s.Address)
	} else {
		s.conn, err = d.DialContext(ctx, "tcp", s.Address)
	}
	if err != nil {
		s.conn = nil
		return err
	}
	gone, conn := make(chan struct{}), s.conn
	s.gone = gone
	go func() { // a collector says nothing: what ends is its end
		_, _ = io.Copy(io.Discard, conn)
		close(gone)
	}()
	return nil
}

// Close ends the connection.
func (s *Syslog) Close() {
	if s.conn != nil {
		_ = s.conn.Close()
		<-s.gone
		s.conn = nil
	}
}

// message returns a line as RFC 5424, section 6 has it.
func message(line []byte, e *Entry) string {
	const audit, notice, warning = 13, 5, 4 // facility and severities of RFC 5424, section 6.2.1
	severity := warning
	if strings.EqualFold(e.Outcome, "done") {
		severity = notice
	}
	host, _ := os.Hostname()
	at := e.At.UTC().Truncate(time.Microsecond).Format(time.RFC3339Nano) // six digits at most
	return "<" + strconv.Itoa(audit*8+severity) + ">1 " + at + " " + header(host, 255) + " strokewise " + strconv.Itoa(os.Getpid()) + " audit - " + string(line)
}

// header returns a field of a header: visible ASCII, "-" for nothing.
func header(text string, most int) string {
	text = strings.Map(func(r rune) rune {
		if r <= ' ' || r > '~' {
			return -1
		}
		return r
	}, text)
	if text == "" {
		return "-"
	}
	return text[:min(len(text), most)]
}
