package mqtt

import (
	"bufio"
	"encoding/binary"
	"errors"
	"fmt"
	"net"
	"sync"
	"time"
)

// Packet types in the upper half of a packet's first byte (MQTT 3.1.1, 2.2.1).
const (
	typeConnack = 2
	typePublish = 3
	puback      = 0x40
)

// readBuffer is the size of a connection's reading buffer. A buffered reader nearly
// doubles what QoS 0 drains.
const readBuffer = 64 << 10

// errHuge ends a connection whose broker announces a huge packet that is no message.
var errHuge = errors.New("the broker announced a packet beyond the bound that is no message")

// conn is a connection that looks at the announced length of each incoming packet before
// the client library allocates it. A message beyond the bound is read over and, at QoS 1,
// acknowledged, since the broker would send it again for ever; it is reported and never
// seen by the library.
type conn struct {
	net.Conn
	r        *bufio.Reader
	max      int64
	left     int64 // bytes of the current packet that the library has not read
	tooLarge func(topic string, size int64)
	opened   time.Time
	onAck    func(session bool, rtt time.Duration) // at CONNACK

	mu sync.Mutex // one packet at a time is written, by the library or by us
}

func newConn(c net.Conn, max int64, tooLarge func(string, int64), onAck func(bool, time.Duration)) *conn {
	return &conn{Conn: c, r: bufio.NewReaderSize(c, readBuffer), max: max, tooLarge: tooLarge, opened: time.Now(), onAck: onAck}
}

// Write writes one packet: the library gives whole packets.
func (c *conn) Write(p []byte) (int, error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.Conn.Write(p)
}

// Read gives the bytes of packets within the bound.
func (c *conn) Read(p []byte) (int, error) {
	for c.left == 0 {
		if err := c.packet(); err != nil {
			return 0, err
		}
	}
	if int64(len(p)) > c.left {
		p = p[:c.left]
	}
	n, err := c.r.Read(p)
	c.left -= int64(n)
	return n, err
}

// packet looks at the next packet's header. It leaves the packet to be read, or reads
// over it.
func (c *conn) packet() error {
	first, header, length, err := c.header()
	if err != nil {
		return err
	}
	if length <= c.max {
		c.left = int64(header) + length
		if first>>4 == typeConnack && c.onAck != nil {
			if b, err := c.r.Peek(header + 1); err == nil {
				c.onAck(b[header]&1 == 1, time.Since(c.opened))
			}
		}
		return nil
	}
	if first>>4 != typePublish {
		return fmt.Errorf("%w: type %d, %d bytes", errHuge, first>>4, length)
	}
	return c.discard(first, header, length)
}

// header reads ahead the fixed header (MQTT 3.1.1, 2.2): first byte, its own length, and
// the announced length of the rest.
func (c *conn) header() (first byte, header int, length int64, err error) {
	for n := 2; n <= 5; n++ {
		b, err := c.r.Peek(n)
		if err != nil {
			return 0, 0, 0, err
		}
		length |= int64(b[n-1]&0x7f) << (7 * (n - 2))
		if b[n-1]&0x80 == 0 {
			return b[0], n, length, nil
		}
	}
	return 0, 0, 0, errors.New("the broker sent a malformed packet length")
}

// discard reads over a message, in the buffer's memory alone.
func (c *conn) discard(first byte, header int, length int64) error {
	if _, err := c.r.Discard(header); err != nil {
		return err
	}
	b, err := c.r.Peek(2)
	if err != nil {
		return err
	}
	n := int(binary.BigEndian.Uint16(b))
	qos := first >> 1 & 3
	need := 2 + n
	if qos > 0 {
		need += 2
	}
	if int64(need) > length || need > readBuffer {
		return fmt.Errorf("%w: a message whose topic has %d bytes", errHuge, n)
	}
	if b, err = c.r.Peek(need); err != nil {
		return err
	}
	topic := string(b[2 : 2+n])
	ack := []byte{puback, 2, 0, 0}
	if qos > 0 {
		copy(ack[2:], b[2+n:])
	}
	for rest := length; rest > 0; {
		k := int(min(rest, 1<<20))
		if _, err := c.r.Discard(k); err != nil {
			return err
		}
		rest -= int64(k)
	}
	c.tooLarge(topic, length)
	if qos == 1 {
		_, err = c.Write(ack)
	}
	return err
}
