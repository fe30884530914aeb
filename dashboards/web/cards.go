package web

import (
	"bytes"
	"cmp"
	"encoding/json"
	"slices"
	"sync"
	"time"

	"strokewise/analyzer/station"
	"strokewise/dashboards/board"
)

// cards are the rendered stations, made at most once a second for all streams together.
type cards struct {
	mu      sync.Mutex
	at      time.Time
	version uint64 // counts the makings
	all     map[string]*card
	summary string
	shape   uint64 // the version at which stations came or went, or alarms of headers changed
	headers string // how the alarms of headers looked
}

// card is one rendered station.
type card struct {
	html    string
	look    string // what makes a change urgent: state and alarms
	changed uint64 // the version of html
	urgent  uint64 // the version of look
}

// cardJSON is a card as it is sent.
type cardJSON struct {
	Key  string `json:"key"`
	HTML string `json:"html"`
}

// stationsJSON is what a page of stations gets.
type stationsJSON struct {
	Summary string     `json:"summary"`
	All     bool       `json:"all"` // stations came or went: fetch the whole
	Cards   []cardJSON `json:"cards"`
}

// mostCards bounds what one message carries: with a thousand stations that all change, a
// card is renewed every ten seconds, those whose state or alarms changed first.
const mostCards = 100

// seen is what one stream has sent.
type seen struct {
	set   bool
	shape uint64
	cards map[string]uint64
}

// renew makes the cards afresh unless they are younger than a second.
func (c *cards) renew(s *site) {
	now := s.Now()
	if d := now.Sub(c.at); c.all != nil && d >= 0 && d < 900*time.Millisecond {
		return
	}
	c.at = now
	c.version++
	all := s.Board.All()
	if c.all == nil {
		c.all = make(map[string]*card)
	}
	var b bytes.Buffer
	there := make(map[string]bool, len(all))
	for i := range all {
		key := path(all[i].Plate.Key)
		there[key] = true
		c.put(key, look(&all[i]), s.card(&b, &all[i]))
	}
	for key := range c.all {
		if !there[key] {
			delete(c.all, key)
			c.shape = c.version
		}
	}
	b.Reset()
	v := head(all, reasons(s.ready()), station.InstantOf(now), s.Version)
	v.Filling = filling(s.Board.Past())
	v.headers(all, s.Board)
	if h := headersLook(s.Board); h != c.headers {
		c.headers, c.shape = h, c.version
	}
	if err := pages.ExecuteTemplate(&b, "summary", v); err == nil {
		c.summary = b.String()
	}
}

func (c *cards) put(key, look, html string) {
	old := c.all[key]
	if old == nil {
		old = &card{}
		c.all[key], c.shape = old, c.version
	}
	if html != old.html {
		old.html, old.changed = html, c.version
	}
	if look != old.look {
		old.look, old.urgent = look, c.version
	}
}

func look(s *board.Station) string {
	v := (s.Status.State % station.NumStates).String()
	if s.Gone {
		v = noLongerConfigured
	} else if s.Unwatched != nil {
		v = notWatched
	} else if s.Stale() {
		v = "silent"
	}
	for i := range s.Alarms {
		v += " " + s.Alarms[i].Transition.Alarm + s.Alarms[i].State.String()
	}
	for i := range s.AtWork {
		v += " " + s.AtWork[i].Who
	}
	return v
}

func (s *site) card(b *bytes.Buffer, one *board.Station) string {
	b.Reset()
	v := describe(one)
	v.cover(s.Board)
	v.Line = s.lately(one.Plate.Key, one.Plate.Reading)
	if err := pages.ExecuteTemplate(b, "card", v); err != nil {
		return ""
	}
	return b.String()
}

// since gives what changed since the stream's last message; the first call only notes what
// there is.
func (c *cards) since(s *site, last *seen) []byte {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.renew(s)
	if !last.set {
		*last = seen{set: true, shape: c.shape, cards: make(map[string]uint64, len(c.all))}
		for key := range c.all {
			last.cards[key] = c.version
		}
		return nil
	}
	out := stationsJSON{Summary: c.summary, All: last.shape != c.shape, Cards: []cardJSON{}}
	last.shape = c.shape
	for _, key := range c.due(last) {
		out.Cards = append(out.Cards, cardJSON{key, c.all[key].html})
		last.cards[key] = c.version
	}
	b, err := json.Marshal(out)
	if err != nil {
		return nil
	}
	return b
}

// due lists the cards to send: urgent ones first, then those that waited longest.
func (c *cards) due(last *seen) []string {
	var keys []string
	for key, one := range c.all {
		if one.changed > last.cards[key] {
			keys = append(keys, key)
		}
	}
	rank := func(key string) int {
		if c.all[key].urgent > last.cards[key] {
			return 0
		}
		return 1
	}
	slices.SortFunc(keys, func(a, b string) int {
		return cmp.Or(rank(a)-rank(b), cmp.Compare(last.cards[a], last.cards[b]), cmp.Compare(a, b))
	})
	return keys[:min(len(keys), mostCards)]
}
