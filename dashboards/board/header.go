package board

import (
	"cmp"
	"slices"

	"strokewise/analyzer/station"
)

// Header is the current picture of a header's alarms.
type Header struct {
	Key    station.Key // see station.HeaderKey
	Gone   bool        // no station hangs on it any more: it is here for its open alarm alone
	Alarms []Alarm
	Under  []string // stations that the standing alarm is about, by name
	// Kept are the alarms of stations that people are not told of, or not yet.
	Kept map[Kept]bool
}

// Kept names an occurrence of a station's alarm.
type Kept struct {
	Station, Alarm string
	Raised         station.Instant
}

// Covers tells whether the header's alarm stands over a station.
func (h *Header) Covers(id string) bool {
	_, ok := slices.BinarySearch(h.Under, id)
	return ok && len(h.Alarms) > 0
}

// PutHeader replaces a header's picture. What it points to must not be changed afterwards.
func (b *Board) PutHeader(h Header) {
	b.mu.Lock()
	if b.headers == nil {
		b.headers = make(map[station.Key]Header)
	}
	b.headers[h.Key] = h
	b.mu.Unlock()
}

// Header gives one header's picture.
func (b *Board) Header(k station.Key) (Header, bool) {
	b.mu.RLock()
	defer b.mu.RUnlock()
	h, ok := b.headers[k]
	return h, ok
}

// Headers gives every header, ordered by key.
func (b *Board) Headers() []Header {
	b.mu.RLock()
	out := make([]Header, 0, len(b.headers))
	for _, h := range b.headers {
		out = append(out, h)
	}
	b.mu.RUnlock()
	slices.SortFunc(out, func(x, y Header) int {
		return cmp.Or(cmp.Compare(x.Key.Site, y.Key.Site), cmp.Compare(x.Key.Station, y.Key.Station))
	})
	return out
}

// Each calls f with every station, in no order; f must not keep what it is given.
func (b *Board) Each(f func(*Station)) {
	b.mu.RLock()
	defer b.mu.RUnlock()
	for _, s := range b.stations {
		f(&s)
	}
}
