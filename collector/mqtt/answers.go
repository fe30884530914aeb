package mqtt

import (
	"bufio"
	"context"
	"crypto/tls"
	"fmt"
	"net"
	"net/url"
)

// answerBuffer holds more than an answer, bytes.
const answerBuffer = 16

// answered are the packets that a broker sends to a client that subscribes to nothing and publishes at
// quality of service 1, with their length after the header (MQTT 3.1.1, 3.2, 3.4, 3.13).
var answered = map[byte]byte{typeConnack: 2, typePuback: 2, typePingresp: 0}

// answersOnly is a connection on which the broker can do no more than answer: the client library
// would make room for whatever length is announced.
type answersOnly struct {
	net.Conn
	br   *bufio.Reader
	rest int // bytes of the present packet not yet given to the library
}

func answers(c net.Conn) net.Conn {
	return &answersOnly{Conn: c, br: bufio.NewReaderSize(c, answerBuffer)}
}

// dialAnswers makes such a connection to a broker, by dial.
func dialAnswers(ctx context.Context, dial func(context.Context, string, string) (net.Conn, error), conf *tls.Config, u *url.URL) (net.Conn, error) {
	ctx, cancel := context.WithTimeout(ctx, connectTimeout)
	defer cancel()
	c, err := reach(ctx, u, conf, dial)
	if err != nil {
		return nil, err
	}
	return answers(c), nil
}

// Read implements net.Conn.
func (c *answersOnly) Read(p []byte) (int, error) {
	if c.rest == 0 {
		b, err := c.br.Peek(2)
		if err != nil {
			return 0, err
		}
		want, ok := answered[b[0]>>4]
		if !ok || b[1] != want {
			return 0, fmt.Errorf("cannot read MQTT packet: %#x %#x is no answer of a broker; is it an MQTT broker?", b[0], b[1])
		}
		c.rest = 2 + int(want)
	}
	n, err := c.br.Read(p[:min(len(p), c.rest)])
	c.rest -= n
	return n, err
}
