package intake

import (
	"sort"
	"strconv"
	"sync"

	"strokewise/analyzer/station"
	"strokewise/collector/payload"
)

// Bounds of what is kept of refused messages.
const (
	keepMessages = 32
	keepBytes    = 200 // of topic and payload each
	keepNames    = 64  // of unknown stations
)

// Kept is a refused message.
type Kept struct {
	At      station.Instant
	Topic   string
	Reason  string
	Detail  string
	Payload string // its beginning, quoted
	Size    int    // bytes of the whole
}

// counter counts refused messages and keeps the newest, in bounded memory.
type counter struct {
	mu      sync.Mutex
	counts  map[payload.Reason]int64
	ring    []Kept
	next    int
	names   map[station.Key]int64
	further int64 // messages of stations beyond keepNames
}

func newCounter() *counter {
	c := &counter{counts: make(map[payload.Reason]int64), names: make(map[station.Key]int64)}
	for _, r := range Reasons() {
		c.counts[r] = 0
	}
	return c
}

func (c *counter) add(topic string, data []byte, size int, at station.Instant, r *payload.Refusal) {
	k := Kept{At: at, Topic: cut(topic), Reason: string(r.Reason), Detail: r.Detail, Size: size}
	if len(data) > 0 {
		k.Payload = cut(string(data[:min(len(data), keepBytes)]))
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	c.counts[r.Reason]++
	if len(c.ring) < keepMessages {
		c.ring = append(c.ring, k)
		return
	}
	c.ring[c.next] = k
	c.next = (c.next + 1) % keepMessages
}

// cut gives the beginning of s with what is not printable quoted.
func cut(s string) string {
	if len(s) > keepBytes {
		s = s[:keepBytes]
	}
	q := strconv.Quote(s)
	return q[1 : len(q)-1]
}

// stranger counts a message of a station that is not configured.
func (c *counter) stranger(k station.Key) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if _, ok := c.names[k]; !ok && len(c.names) >= keepNames || len(k.Site)+len(k.Station) > keepBytes {
		c.further++
		return
	}
	c.names[k]++
}

// Refused gives how many messages were turned away, by reason; every reason has an entry.
func (in *Intake) Refused() map[string]int64 {
	c := in.refused
	c.mu.Lock()
	defer c.mu.Unlock()
	out := make(map[string]int64, len(c.counts))
	for r, n := range c.counts {
		out[string(r)] = n
	}
	return out
}

// Kept gives the newest refused messages, newest first.
func (in *Intake) Kept() []Kept {
	c := in.refused
	c.mu.Lock()
	defer c.mu.Unlock()
	n := len(c.ring)
	out := make([]Kept, 0, n)
	for i := range n {
		out = append(out, c.ring[(c.next+n-1-i)%n])
	}
	return out
}

// Strangers gives up to 64 stations that sent something and are not configured, in order,
// and the number of messages of all others.
func (in *Intake) Strangers() (names []station.Key, further int64) {
	c := in.refused
	c.mu.Lock()
	defer c.mu.Unlock()
	for k := range c.names {
		names = append(names, k)
	}
	sort.Slice(names, func(i, j int) bool { return names[i].String() < names[j].String() })
	return names, c.further
}
