package mqtt

import (
	"fmt"
	"time"
)

// A broker keeps one connection for a client id: a second client with it ends the first one's
// connection, which comes back and ends the second one's (MQTT 3.1.1, 3.1.4).
const (
	// shortLived is how long a connection may have lasted that another client has taken over: clients
	// come back within seconds, our own waits are 10 s at most. No source.
	shortLived = time.Minute
	// enoughEvictions in a row are a pattern. A broker that restarts once or twice shows fewer, and
	// takes no connection meanwhile. No source.
	enoughEvictions = 3
)

// evictions counts connections in a row that had been sound, were ended by the broker within
// shortLived, and could be made again at once.
type evictions int

// ended counts the end of a connection, or of an attempt to make one.
func (e *evictions) ended(sound, byBroker bool, lasted time.Duration) {
	if !sound || !byBroker || lasted > shortLived {
		*e = 0
		return
	}
	*e++
}

func (e evictions) suspicious() bool { return e >= enoughEvictions }

// note counts the end of a connection; nil: none could be made.
func (s *Source) note(c *conn) {
	s.mu.Lock()
	defer s.mu.Unlock()
	byBroker := false
	if c != nil {
		c.mu.Lock()
		byBroker = c.byBroker
		c.mu.Unlock()
	}
	s.evicted.ended(c != nil && s.figures.Connected, byBroker, time.Since(s.figures.Since))
}

// doubled words the suspicion. The other reasons that a broker has look the same from here.
func (s *Source) doubled() string {
	return fmt.Sprintf("it has ended %d sound connections in a row, each within %s: another client seems to use the client id %q. Give each its own (mqtt.client_id); if no other one does, see in the broker's log why it ends the connection of user %q",
		int(s.evicted), shortLived, s.opt.ClientID, s.opt.User)
}
