package intake

import (
	"sort"
	"sync"

	"strokewise/analyzer/station"
	"strokewise/collector/payload"
)

// Bounds of what is kept of the stations that are not configured.
const (
	keepNames = 64
	keepBytes = 200 // of site and station
)

// counter counts refused messages, in bounded memory.
type counter struct {
	mu      sync.Mutex
	counts  map[payload.Reason]int64
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

func (c *counter) add(r payload.Reason) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.counts[r]++
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

// Refused returns how many messages were turned away, by reason; every reason has an entry.
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

// Strangers returns up to 64 stations that sent something and are not configured, in order,
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
