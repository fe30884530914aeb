package rules

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"strokewise/analyzer/station"
)

// siteSet is the catalogue of sites.
var siteSet = shipSet("headers/over-time.yaml")

// overHold is for how long enough stations must be at work before the finding is raised, so that
// it names them all.
const overHold = 10 * station.Second

// OverStation is a configured station of a site.
type OverStation struct {
	Station string
	OverState
}

// OverAnswer is what a site answers a station.
type OverAnswer struct {
	Station string
	Until   station.Instant
}

// overSite is the memory of the finding. Fields are exported for snapshots only.
type overSite struct {
	Met      station.Instant   // enough are at work since, 0: they are not
	Ends     []station.Instant // of the shifts that the standing finding is about
	Stations []string          // at work, by name
	All      int               // stations whose shift is over
	Clock    string            // the end of the shift
}

// Overtime decides the finding from all configured stations of the site, and returns the answers
// to those that do not have theirs yet. A group are the stations whose shift ended at one time.
// Enough of it are as many as make a low header: UsualHeader's number and share, or all of a
// group of two. A single station is no overtime: that it strokes all night for a leak with
// nobody there is what pressure-left is for.
func (h *Header) Overtime(list []OverStation) []OverAnswer {
	all, over := map[station.Instant]int{}, map[station.Instant]int{}
	at := station.Instant(0)
	for i := range list {
		s := &list[i]
		at = max(at, s.At)
		if s.End != 0 {
			all[s.End]++
		}
		if s.Since != 0 {
			over[s.End]++
		}
	}
	covers := func(end station.Instant) bool {
		known := len(h.Over.Ends) == 0 || slices.Contains(h.Over.Ends, end) // none: its memory was lost
		return over[end] >= overNeed(all[end]) || h.standing() && known
	}
	now := overSite{Met: h.Over.Met}
	for i := range list {
		if s := &list[i]; s.Since != 0 && covers(s.End) {
			now.Stations, now.Clock = append(now.Stations, s.Station), s.Clock
			if !slices.Contains(now.Ends, s.End) {
				now.Ends, now.All = append(now.Ends, s.End), now.All+all[s.End]
			}
		}
	}
	slices.Sort(now.Stations)
	h.over(now, at)
	return h.answers(list)
}

// over moves the finding.
func (h *Header) over(now overSite, at station.Instant) {
	switch {
	case len(now.Stations) == 0 && !h.standing():
		h.Over = overSite{}
		return
	case len(now.Stations) == 0:
		now.Met = 0
		h.Over = now
		h.life.advance(0, at, verdict{answer: no})
		return
	case now.Met == 0:
		now.Met = at
	}
	h.Over = now
	if at.Sub(now.Met) >= overHold {
		h.life.advance(0, at, verdict{answer: yes})
	}
	h.life.remind(at)
}

// answers returns what the stations do not know yet. A finding that nobody sees holds nothing
// back.
func (h *Header) answers(list []OverStation) (out []OverAnswer) {
	wait := int64(0)
	switch h.life.Alarms[0].State {
	case Unacknowledged:
		wait = overUnseen
	case Acknowledged:
		wait = overMost
	}
	for i := range list {
		s := &list[i]
		until := station.Instant(0)
		if _, under := slices.BinarySearch(h.Over.Stations, s.Station); under && wait > 0 {
			until = s.Since.Add(wait)
		}
		if s.Since != 0 && s.Until != until {
			out = append(out, OverAnswer{s.Station, until})
		}
	}
	return out
}

// overNeed returns how many of a group make the finding.
func overNeed(all int) int {
	if all < UsualHeader.Least {
		return max(2, all)
	}
	return max(UsualHeader.Least, int(math.Ceil(UsualHeader.Share*float64(all)-1e-9)))
}

// sayOver puts the finding in words.
func (h *Header) sayOver() (string, []Evidence) {
	if !h.standing() {
		return "No station is seen at work after the shift now. Those that are still charged have alarms of their own.", nil
	}
	o := &h.Over
	return fmt.Sprintf("%d of %d stations are still at work though their shift ended at %s: overtime, or is the calendar or its zone wrong? "+
			"While they stroke, their alarms for pressure left wait: 2 h, or 12 h once somebody acknowledges this.", len(o.Stations), o.All, o.Clock),
		[]Evidence{{Name: "stations_at_work", Value: float64(len(o.Stations)), Unit: "1"}, {Name: "stations_off_shift", Value: float64(o.All), Unit: "1"},
			{Name: "shift_ended", Text: o.Clock}, {Name: "stations", Text: strings.Join(o.Stations, ", ")}}
}

// AlarmOf returns the alarm that a header, or a site as a whole, has.
func AlarmOf(k station.Key) string {
	if k.WholeSite() {
		return OverTime
	}
	return HeaderLow
}
