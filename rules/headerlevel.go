package rules

import (
	"slices"

	"strokewise/analyzer/station"
)

const (
	leastWitnesses = 2                   // other stations that must show the same fall
	apartFor       = 10 * station.Second // for which an inlet must differ from the header to have left it
	sameTime       = 10 * station.Second // readings further apart are not compared
	leastLevel     = 0.5                 // share of its usual level under which a header feeds nobody
	leaseStep      = holdLease / 4       // by which answers are prolonged
)

// LevelStation is a station of a header, with what it shows of the header's level.
type LevelStation struct {
	Station string
	LevelState
}

// HoldAnswer is what a header answers a station: its inlet follows until then; 0: it does not.
type HoldAnswer struct {
	Station string
	Until   station.Instant
}

// Levels decides which of the stations that seem to be shut in follow the header, and returns the
// answers to those that do not have theirs yet. A station follows while the header's alarm stands and
// people see it, the alarm is about the station, and its inlet has fallen by as much as those of at
// least two other stations of the alarm, and of half of them. Below half of its usual level, in the median of
// the alarm's stations, a header feeds nobody: then somebody has shut it off. While nobody has acknowledged the alarm the answers end
// two hours after the shutdown, and twelve hours after it in any case.
func (h *Header) Levels(list []LevelStation) (out []HoldAnswer) {
	feeds := h.feeds(list)
	for i := range list {
		s := &list[i]
		m, known := h.at[s.Station]
		if s.Since == 0 {
			if known {
				h.Members[m].Apart = 0
			}
			continue
		}
		until := station.Instant(0)
		if known && feeds && h.follows(&h.Members[m], s, list) {
			until = min(s.At.Add(holdLease).Floor(leaseStep), s.Since.Add(h.patience()))
		}
		if until <= s.At {
			until = 0
		}
		if until != s.Until {
			out = append(out, HoldAnswer{s.Station, until})
		}
	}
	return out
}

// patience returns for how long after its shutdown a station may be held to follow, ns: 0 while
// nobody sees the alarm.
func (h *Header) patience() int64 {
	if !h.standing() {
		return 0
	}
	switch h.life.Alarms[0].State {
	case Unacknowledged:
		return overUnseen
	case Acknowledged:
		return overMost
	}
	return 0
}

// feeds reports whether the header has kept enough of its usual level, as the inlets of the stations under its alarm show
// it: at each of them another loss comes on top.
func (h *Header) feeds(list []LevelStation) bool {
	var shares []float64
	for i := range list {
		if m, known := h.at[list[i].Station]; known && h.Members[m].Under {
			shares = append(shares, list[i].Inlet/list[i].Usual)
		}
	}
	slices.Sort(shares)
	return len(shares) > 0 && shares[len(shares)/2] >= leastLevel
}

// follows reports whether a station's inlet is where the others show the header. One that did is
// believed to for a moment longer: readings of a header that moves are not of one time.
func (h *Header) follows(m *member, s *LevelStation, list []LevelStation) bool {
	switch {
	case !m.Under:
		return false
	case h.agree(s, list):
		m.Apart = 0
		return true
	case s.Until == 0:
		return false
	case m.Apart == 0 || s.At < m.Apart:
		m.Apart = s.At
	}
	return s.At.Sub(m.Apart) < apartFor
}

// agree reports whether enough of the other stations under the alarm show the fall of s.
func (h *Header) agree(s *LevelStation, list []LevelStation) bool {
	fall, _ := s.fall()
	agree, all := 0, 0
	for i := range list {
		o := &list[i]
		m, known := h.at[o.Station]
		if o.Station == s.Station || !known || !h.Members[m].Under || o.At.Sub(s.At) > sameTime || s.At.Sub(o.At) > sameTime {
			continue
		}
		all++
		if other, slack := o.fall(); fall <= other+followBand(s.Usual)+slack && fall >= other-followBand(s.Usual)-slack {
			agree++
		}
	}
	return agree >= leastWitnesses && 2*agree >= all
}
