package mqtt

import (
	"bufio"
	"encoding/binary"
	"errors"
	"fmt"
	"net"
	"strings"
	"sync"
	"time"
)

// Packet types and flags (MQTT 3.1.1, 2.2).
const (
	typeConnack   = 2
	typePublish   = 3
	typePuback    = 4
	typeSubscribe = 8
	typeSuback    = 9
	typePingresp  = 13
	puback        = 0x40
	pingreq       = 0xC0
)

// Sizes of a connection.
const (
	readBuffer = 64 << 10
	mostNotes  = 64 // the client library holds about five messages between read and handler
)

// note goes with a message from the network to the handler, past the client library.
type note struct {
	arrival time.Time
	backlog bool
}

// conn lies between the client library and the network. On reading it bounds packets
// (filter.go). On writing it keeps the library's packets and its own whole: the library
// gives each packet in a single Write. It writes acknowledgements itself, as many at once
// as there are, and pings itself: the library's own ping cannot see the answer while the
// handler blocks, and would give up a sound connection.
type conn struct {
	net.Conn
	source *Source
	br     *bufio.Reader
	rest   int64 // bytes of the present packet not yet given to the library
	notes  chan note

	backlog   backlog
	isBacklog bool
	filled    time.Time // when the buffer was last filled
	welcomed  bool      // the broker has answered CONNECT

	writing sync.Mutex // held while a packet is written

	mu       sync.Mutex
	deadline time.Time // set by the library for its handshake
	acks     []byte    // to be written
	owed     int       // messages at QoS 1 not yet acknowledged
	settled  time.Time // when the last acknowledgement was written
	heard    time.Time // when something was last read
	cause    error     // why we ended it ourselves
	asked    asked     // the subscription that is not answered yet
	byBroker bool      // the broker has ended it

	wake      chan struct{}
	closed    chan struct{}
	closeOnce sync.Once
	done      sync.WaitGroup
}

func newConn(nc net.Conn, s *Source) *conn {
	c := &conn{Conn: nc, source: s, notes: make(chan note, mostNotes), backlog: backlog{bound: s.opt.MaxBacklog},
		wake: make(chan struct{}, 1), closed: make(chan struct{})}
	c.br = bufio.NewReaderSize(filler{c}, readBuffer)
	c.done.Go(c.pump)
	return c
}

// Write writes one whole packet. It fails after the keep-alive time, so that a peer that
// reads nothing cannot hold us for ever.
func (c *conn) Write(p []byte) (int, error) {
	c.writing.Lock()
	defer c.writing.Unlock()
	if c.handshake().IsZero() {
		if err := c.Conn.SetWriteDeadline(time.Now().Add(c.source.opt.KeepAlive)); err != nil {
			return 0, err
		}
	}
	c.asks(p)
	return c.Conn.Write(p)
}

// Close also ends the pump; it does not wait for it.
func (c *conn) Close() error {
	c.closeOnce.Do(func() { close(c.closed) })
	return c.Conn.Close()
}

// fail ends the connection for a reason that the reader then gives to the library.
func (c *conn) fail(err error) {
	c.mu.Lock()
	c.cause = err
	c.mu.Unlock()
	_ = c.Conn.Close()
}

// why gives the error of a read. The library takes "use of closed network connection" for
// its own doing and then says nothing, so that a connection which ended otherwise must
// not end with it: nobody would connect again.
func (c *conn) why(err error) error {
	select {
	case <-c.closed:
		return err
	default:
	}
	if !errors.Is(err, net.ErrClosed) {
		return err
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.cause != nil {
		return fmt.Errorf("cannot write: %v", strings.ReplaceAll(c.cause.Error(), net.ErrClosed.Error(), "closed"))
	}
	return errors.New("the connection was closed on our side")
}

// SetDeadline notes the library's deadline for its handshake; ours come after it.
func (c *conn) SetDeadline(t time.Time) error {
	c.mu.Lock()
	c.deadline = t
	c.mu.Unlock()
	return c.Conn.SetDeadline(t)
}

func (c *conn) handshake() time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.deadline
}

// ack queues the acknowledgement of a message.
func (c *conn) ack(id uint16) {
	c.mu.Lock()
	c.acks = binary.BigEndian.AppendUint16(append(c.acks, puback, 2), id)
	c.mu.Unlock()
	select {
	case c.wake <- struct{}{}:
	default:
	}
}

// pump writes acknowledgements as they come, and a ping every half keep-alive time: then
// the broker always has something to answer, and silence means that it is gone.
func (c *conn) pump() {
	tick := time.NewTicker(c.source.opt.KeepAlive / 2)
	defer tick.Stop()
	for {
		var err error
		select {
		case <-c.closed:
			return
		case <-c.wake:
			err = c.flush()
		case <-tick.C:
			if c.handshake().IsZero() {
				_, err = c.Write([]byte{pingreq, 0})
			}
		}
		if err != nil {
			c.fail(err)
			return
		}
	}
}

// flush writes the acknowledgements that are queued.
func (c *conn) flush() error {
	c.mu.Lock()
	acks := c.acks
	c.acks = nil
	c.mu.Unlock()
	if len(acks) == 0 {
		return nil
	}
	_, err := c.Write(acks)
	c.mu.Lock()
	c.owed -= len(acks) / 4
	c.settled = time.Now()
	if c.acks == nil {
		c.acks = acks[:0]
	}
	c.mu.Unlock()
	return err
}
