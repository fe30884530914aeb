package app

import (
	"sync"

	"strokewise/analyzer/station"
	"strokewise/collector/letters"
)

// Why a message waits.
const (
	waitsForClock letters.Label = "clock"
	waitsForOlder letters.Label = "older" // messages of its station that were refused before the station was configured
)

// gate decides which messages wait: all, while our clock is not known or messages that waited for it are
// not in yet; or those of stations whose older messages are being accepted first.
type gate struct {
	mu      sync.Mutex
	all     bool
	keys    map[station.Key]bool
	pending int // messages that are to wait and are not stored yet
}

func (g *gate) close() {
	g.mu.Lock()
	defer g.mu.Unlock()
	g.all = true
}

// closeFor lets messages of stations wait.
func (g *gate) closeFor(keys []station.Key) {
	g.mu.Lock()
	defer g.mu.Unlock()
	if g.keys == nil {
		g.keys = make(map[station.Key]bool)
	}
	for _, k := range keys {
		g.keys[k] = true
	}
}

// closed reports whether all messages wait.
func (g *gate) closed() bool {
	g.mu.Lock()
	defer g.mu.Unlock()
	return g.all
}

// state returns whether any message waits, and the stations whose messages do.
func (g *gate) state() (any bool, keys []station.Key) {
	g.mu.Lock()
	defer g.mu.Unlock()
	for k := range g.keys {
		keys = append(keys, k)
	}
	return g.all || len(keys) > 0, keys
}

// waits reports why a message of a station has to wait, "" where it has not. stored must be called
// once a waiting one is stored or given up.
func (g *gate) waits(k station.Key, unsure bool) letters.Label {
	g.mu.Lock()
	defer g.mu.Unlock()
	switch g.all = g.all || unsure; {
	case g.all:
		g.pending++
		return waitsForClock
	case len(g.keys) > 0 && g.keys[k]:
		g.pending++
		return waitsForOlder
	}
	return ""
}

func (g *gate) stored() {
	g.mu.Lock()
	defer g.mu.Unlock()
	g.pending--
}

// open lets messages pass again, if none waits any more.
func (g *gate) open(waiting func() (int64, error)) (bool, error) {
	g.mu.Lock()
	defer g.mu.Unlock()
	if g.pending > 0 {
		return false, nil
	}
	if n, err := waiting(); n > 0 || err != nil {
		return false, err
	}
	g.all, g.keys = false, nil
	return true, nil
}

// has reports whether messages of a station wait for older ones.
func (g *gate) has(k station.Key) bool {
	g.mu.Lock()
	defer g.mu.Unlock()
	return g.keys[k]
}
