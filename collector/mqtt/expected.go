package mqtt

import (
	"encoding/binary"
	"errors"
	"fmt"
)

// mostConnack is the highest return code of CONNACK (MQTT 3.1.1, 3.2.2.3).
const mostConnack = 5

// asked is a subscription that the broker has not answered yet: its packet identifier and the
// number of its filters, 0 where there is none.
type asked struct {
	id      uint16
	filters int64
}

// expected reports what is wrong with a packet from the broker, before the client library sees it.
// The library believes what a packet says of itself: a SUBACK with more codes than we have filters
// would end the program.
func (c *conn) expected(first byte, head int, length int64) error {
	kind := first >> 4
	if c.welcomed == (kind == typeConnack) {
		return errors.New("the connection begins with CONNACK, and has one only")
	}
	switch kind {
	case typeConnack:
		return c.welcome(head, length)
	case typePublish:
		return c.published(first, head, length)
	case typeSuback:
		return c.granted(head, length)
	case typePingresp:
		if length != 0 {
			return fmt.Errorf("PINGRESP has %d bytes", length)
		}
		return nil
	}
	return errors.New("it is none that a broker sends to a client that only subscribes")
}

// welcome checks a CONNACK.
func (c *conn) welcome(head int, length int64) error {
	if length != 2 {
		return fmt.Errorf("CONNACK has %d bytes, not 2", length)
	}
	b, err := c.br.Peek(head + 2)
	switch {
	case err != nil:
		return err
	case b[head] > 1 || b[head+1] > mostConnack:
		return fmt.Errorf("CONNACK says %#x %#x", b[head], b[head+1])
	}
	c.welcomed = true
	return nil
}

// published checks that the topic and the identifier lie within a PUBLISH. Nothing comes at a higher
// quality of service than was asked for (3.8.4).
func (c *conn) published(first byte, head int, length int64) error {
	qos := int64(first >> 1 & 3)
	if qos > 1 {
		return fmt.Errorf("PUBLISH at quality of service %d, and 1 was asked for", qos)
	}
	if length < 2 {
		return errLength
	}
	b, err := c.br.Peek(head + 2)
	if err != nil {
		return err
	}
	if n := int64(binary.BigEndian.Uint16(b[head:])); n == 0 || 2+n+2*qos > length {
		return fmt.Errorf("PUBLISH of %d bytes has a topic of %d", length, n)
	}
	return nil
}

// granted checks that a SUBACK answers what was asked, once.
func (c *conn) granted(head int, length int64) error {
	if length < 2 {
		return errLength
	}
	b, err := c.br.Peek(head + 2)
	if err != nil {
		return err
	}
	id := binary.BigEndian.Uint16(b[head:])
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.asked.filters == 0 || id != c.asked.id || length-2 != c.asked.filters {
		return fmt.Errorf("SUBACK answers %d filters under %d, and %d were asked for under %d", length-2, id, c.asked.filters, c.asked.id)
	}
	c.asked = asked{}
	return nil
}

// asks notes a SUBSCRIBE that we write.
func (c *conn) asks(p []byte) {
	if len(p) == 0 || p[0]>>4 != typeSubscribe {
		return
	}
	at := 1
	for at < len(p) && p[at]&0x80 != 0 {
		at++
	}
	if at++; at+2 > len(p) {
		return
	}
	a := asked{id: binary.BigEndian.Uint16(p[at:])}
	for at += 2; at+2 < len(p); a.filters++ {
		at += 2 + int(binary.BigEndian.Uint16(p[at:])) + 1 // length, filter, quality of service
	}
	c.mu.Lock()
	c.asked = a
	c.mu.Unlock()
}
