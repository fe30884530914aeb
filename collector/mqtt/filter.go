package mqtt

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"syscall"
	"time"
)

// keepTopic bounds what is kept of the topic of a message that is read over, bytes.
const keepTopic = 1 << 10

var errLength = errors.New("cannot read MQTT packet: its length is malformed; is it an MQTT broker?")

// filler reads from the network into the buffer. After the handshake it gives up when
// nothing comes for one and a half keep-alive times, in which the broker owed us answers
// to pings.
type filler struct{ c *conn }

func (f filler) Read(p []byte) (int, error) {
	c := f.c
	start := time.Now()
	if c.handshake().IsZero() {
		if err := c.Conn.SetReadDeadline(start.Add(c.source.opt.KeepAlive * 3 / 2)); err != nil {
			return 0, err
		}
	}
	n, err := c.Conn.Read(p)
	if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) || errors.Is(err, syscall.ECONNRESET) {
		c.mu.Lock()
		c.byBroker = true
		c.mu.Unlock()
	}
	if n > 0 {
		c.filled = time.Now()
		c.mu.Lock()
		owed, settled := c.owed, c.settled
		c.heard = c.filled
		c.mu.Unlock()
		c.isBacklog = c.backlog.read(start, c.filled, owed, settled)
	}
	return n, err
}

// Read gives the library the bytes of packets within the bound. Every packet's header is
// looked at before the library sees it.
func (c *conn) Read(p []byte) (int, error) {
	for c.rest == 0 {
		if err := c.next(); err != nil {
			return 0, c.why(err)
		}
	}
	if int64(len(p)) > c.rest {
		p = p[:c.rest]
	}
	n, err := c.br.Read(p)
	c.rest -= int64(n)
	if err != nil {
		err = c.why(err)
	}
	return n, err
}

// next looks at the next packet: it lets it through, or reads over it.
func (c *conn) next() error {
	first, head, length, err := c.header()
	if err != nil {
		return err
	}
	kind, qos := first>>4, first>>1&3
	if length > c.source.opt.MaxPacket {
		if kind != typePublish || qos > 1 {
			return fmt.Errorf("cannot read MQTT packet of type %d: %d bytes are announced, at most %d are allowed", kind, length, c.source.opt.MaxPacket)
		}
		return c.readOver(head, length, qos)
	}
	if err := c.expected(first, head, length); err != nil {
		return fmt.Errorf("cannot read MQTT packet of type %d: %w; is it an MQTT broker?", kind, err)
	}
	switch kind {
	case typeConnack:
		c.connack(head, length)
	case typePublish:
		if qos > 0 {
			c.mu.Lock()
			c.owed++
			c.mu.Unlock()
		}
		select {
		case c.notes <- note{arrival: c.filled, backlog: c.isBacklog}:
		case <-c.closed:
		}
	}
	c.rest = int64(head) + length
	return nil
}

// header decodes the fixed header without taking it: first byte, its own length, and the
// announced length of what follows (MQTT 3.1.1, 2.2.3).
func (c *conn) header() (first byte, head int, length int64, err error) {
	for n := 2; n <= 5; n++ {
		b, err := c.br.Peek(n)
		if err != nil {
			if len(b) > 0 && errors.Is(err, io.EOF) {
				err = io.ErrUnexpectedEOF
			}
			return 0, 0, 0, err
		}
		length |= int64(b[n-1]&0x7f) << (7 * (n - 2))
		if b[n-1]&0x80 == 0 {
			return b[0], n, length, nil
		}
	}
	return 0, 0, 0, errLength
}

// connack notes whether the broker had kept the session, which the library tells too late.
func (c *conn) connack(head int, length int64) {
	b, err := c.br.Peek(head + int(min(length, 2)))
	if err != nil || length < 2 || b[head]&1 == 0 || b[head+1] != 0 {
		return
	}
	c.backlog.resumed(time.Now(), c.source.away())
	c.isBacklog = true
}

// readOver takes a message out of the stream without holding it, and acknowledges it:
// left alone, the broker would send it again for ever. The acknowledgement may overtake
// those of earlier messages that are still being handled.
func (c *conn) readOver(head int, length int64, qos byte) error {
	var small [2 + keepTopic]byte
	if _, err := c.br.Discard(head); err != nil {
		return err
	}
	if _, err := io.ReadFull(c.br, small[:2]); err != nil {
		return err
	}
	n := int64(binary.BigEndian.Uint16(small[:]))
	left := length - 2 - n - 2*int64(qos)
	if left < 0 {
		return errLength
	}
	kept := small[2 : 2+min(n, keepTopic)]
	if _, err := io.ReadFull(c.br, kept); err != nil {
		return err
	}
	topic := string(kept)
	if err := c.discard(n - int64(len(kept))); err != nil {
		return err
	}
	if qos == 1 {
		if _, err := io.ReadFull(c.br, small[:2]); err != nil {
			return err
		}
	}
	if err := c.discard(left); err != nil {
		return err
	}
	c.source.tooLarge(topic, length)
	if qos == 1 {
		c.mu.Lock()
		c.owed++
		c.mu.Unlock()
		c.ack(binary.BigEndian.Uint16(small[:]))
	}
	return nil
}

// discard reads over n bytes, in pieces that fit an int everywhere.
func (c *conn) discard(n int64) error {
	for n > 0 {
		k, err := c.br.Discard(int(min(n, 1<<20)))
		if n -= int64(k); err != nil {
			return err
		}
	}
	return nil
}
