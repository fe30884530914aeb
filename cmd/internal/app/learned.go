package app

import (
	"bytes"
	"time"

	"strokewise/analyzer/station"
	"strokewise/cmd/internal/learned"
	"strokewise/dashboards/history"
)

// learnedEvery is how often what a station has learned is stored at most: what a loss of the log costs. Own
// choice.
const learnedEvery = 10 * time.Minute

// learnedOf is what is stored of what a station has learned.
type learnedOf struct {
	blob     []byte // with what a later version has added
	position uint64 // of the log, up to which it was learned
	due      bool   // the unit began without a snapshot and has not been given it yet
	written  time.Time
}

// knowLearned takes what the history has of the partition's stations. Units that come out of a snapshot have
// learned it themselves.
func (p *partition) knowLearned(all map[station.Key]history.Learned) {
	p.learned = make(map[station.Key]*learnedOf)
	for k, l := range all {
		if k.Partition() != p.number {
			continue
		}
		if _, err := learned.Decode(l.Blob); err != nil || l.Damaged {
			p.log.Warn("what a station has learned is not usable, it begins anew", "station", k, "damaged", l.Damaged, "error", err)
			continue
		}
		p.learned[k] = &learnedOf{blob: l.Blob, position: l.Position, due: true}
	}
}

// experienced notes that a unit has learned by itself what is stored of it, or more.
func (p *partition) experienced(k station.Key) {
	if l := p.learned[k]; l != nil {
		l.due = false
	}
}

// recallLearned gives units what is stored of their stations, once they have worked off the log up to where it was
// learned: what was learned since then comes from the log.
func (p *partition) recallLearned(position uint64) {
	for k, l := range p.learned {
		if u := p.units[k]; u != nil && l.due && l.position <= position {
			p.recallOne(u, l)
		}
	}
}

func (p *partition) recallOne(u *unit, l *learnedOf) {
	l.due = false
	r, err := learned.Decode(l.blob)
	if err == nil && u.held == nil {
		p.safe(u, "what it has learned", nil, func() { u.RecallLearned(r.Learned()) })
	}
}

// keepLearned adds what stations have learned to a commit, where enough time has passed.
func (p *partition) keepLearned(c *history.Commit) {
	now := time.Now()
	for _, u := range p.ordered {
		l := p.learned[u.key]
		if u.held != nil || !u.Stepped() || l != nil && (l.due || now.Sub(l.written) < learnedEvery) {
			continue
		}
		if l == nil {
			l = &learnedOf{}
		}
		var blob []byte
		var err error
		if !p.safe(u, "what it has learned", nil, func() { blob, err = u.encodeLearned(l.blob) }) || u.held != nil {
			continue
		}
		if err != nil {
			p.log.Warn("what a station has learned cannot be stored", "station", u.key, "error", err)
			continue
		}
		p.learned[u.key] = l
		if bytes.Equal(blob, l.blob) { // nothing came in
			l.written = now
			continue
		}
		c.Learned = append(c.Learned, history.Learned{Key: u.key, At: u.Status.At, Blob: blob})
	}
}

// encodeLearned writes what the unit has learned over what is stored, and returns its bytes.
func (u *unit) encodeLearned(was []byte) ([]byte, error) {
	r, err := learned.Decode(was)
	if err != nil {
		return nil, err
	}
	var l station.Learned
	u.Learned(&l)
	r.Set(&l)
	return r.Encode()
}

// learnedStored notes what a commit has stored.
func (p *partition) learnedStored(c *history.Commit) {
	now := time.Now()
	for i := range c.Learned {
		l := p.learned[c.Learned[i].Key]
		l.blob, l.position, l.written = c.Learned[i].Blob, c.Position, now
	}
}
