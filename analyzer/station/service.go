package station

import (
	"encoding/json"
	"fmt"
	"slices"
	"time"
)

// Service is something that comes due at a station again and again: by date, by cycles, or
// by whichever comes first. Intervals have no default: local law and the maker's papers
// govern them.
type Service struct {
	What         ServiceKind `json:"what"`
	Last         string      `json:"last,omitempty"`          // date on which it was done, "": not known
	Next         string      `json:"next,omitempty"`          // date on which it is due
	Months       int         `json:"months,omitempty"`        // interval
	Days         int         `json:"days,omitempty"`          // interval
	Cycles       int64       `json:"cycles,omitempty"`        // interval
	Before       int64       `json:"before,omitempty"`        // cycles run since Last that were not counted here
	Remind       int         `json:"remind,omitempty"`        // days ahead
	RemindCycles int64       `json:"remind_cycles,omitempty"` // cycles ahead
}

// ServiceText gives a list as a plate carries it.
func ServiceText(list []Service) string {
	if len(list) == 0 {
		return ""
	}
	text, err := json.Marshal(list)
	if err != nil {
		panic("BUG: a list of services does not encode: " + err.Error())
	}
	return string(text)
}

// Services gives what comes due at the station of the plate. The tank's next inspection is
// among them. A text of another program that is not understood names nothing.
func (p *Plate) Services() ([]Service, error) {
	var list []Service
	var err error
	if p.Service != "" {
		if err = json.Unmarshal([]byte(p.Service), &list); err != nil {
			list, err = nil, fmt.Errorf("cannot read what comes due at %s: %w", p.Key, err)
		}
		list = slices.DeleteFunc(list, func(s Service) bool { return s.What == NoService }) // of a newer program
	}
	if p.Inspection != "" && !slices.ContainsFunc(list, func(s Service) bool { return s.What == TankInspection }) {
		list = append(list, Service{What: TankInspection, Next: p.Inspection, Remind: 30})
	}
	return list, err
}

// Due gives the date on which the service is due, when it was last done on a date ("": not
// known; the plate's own Last is not looked at). "" where no date can be told. A next date
// stands until the service was done within the time of its reminder, or later: then it is
// spent, and the interval counts, if there is one.
func (s *Service) Due(done string) string {
	next, errNext := time.Parse(time.DateOnly, s.Next)
	last, errLast := time.Parse(time.DateOnly, done)
	spent := errLast == nil && errNext == nil && !last.Before(next.AddDate(0, 0, -max(s.Remind, 1)))
	switch {
	case errNext == nil && !spent:
		return s.Next
	case errLast != nil || s.Months == 0 && s.Days == 0:
		return ""
	}
	return after(last, s.Months).AddDate(0, 0, s.Days).Format(time.DateOnly)
}

// after gives the same day some months later, or the last day of a month that is shorter.
func after(t time.Time, months int) time.Time {
	y, m, d := t.Date()
	first := time.Date(y, m+time.Month(months), 1, 0, 0, 0, 0, time.UTC)
	return first.AddDate(0, 0, min(d, first.AddDate(0, 1, -1).Day())-1)
}
