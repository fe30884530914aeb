package scene

import (
	"fmt"
	"slices"
	"strings"

	"strokewise/rules"
	"strokewise/rules/notify"
)

// Judge returns what is wrong with the outcome of a scene; nothing where all came as it must.
func (s *Scene) Judge(o *Outcome) []string {
	wrong := slices.Clone(o.Wrong)
	for _, r := range o.Refused {
		wrong = append(wrong, "a word was refused: "+r)
	}
	for i := range s.Due {
		wrong = append(wrong, s.due(&s.Due[i], o)...)
	}
	for i := range o.Transitions {
		t := &o.Transitions[i]
		if raised(t) && t.At >= second(s.From) && slices.Contains(s.Never, t.Alarm) {
			wrong = append(wrong, fmt.Sprintf("%s was raised after %s, and is false: %s", t.Alarm, after(s.From, t), t.Message))
		}
	}
	if s.Also != nil {
		wrong = append(wrong, s.Also(o)...)
	}
	return wrong
}

// due returns what is wrong with an alarm that must be raised.
func (s *Scene) due(d *Due, o *Outcome) (wrong []string) {
	t := s.find(d, o)
	if t == nil {
		return []string{d.Alarm + " was not raised"}
	}
	from := s.dueFrom(d)
	if late := t.At.Sub(second(from)); late > d.Within*1e9 {
		wrong = append(wrong, fmt.Sprintf("%s was raised after %s, expected within %d s", d.Alarm, after(from, t), d.Within))
	}
	if t.Priority != d.Priority {
		wrong = append(wrong, fmt.Sprintf("%s is of %s priority, expected %s", d.Alarm, t.Priority, d.Priority))
	}
	text := strings.ToLower(Sent(t))
	for _, w := range d.Says {
		if !strings.Contains(text, w) {
			wrong = append(wrong, fmt.Sprintf("the text of %s does not hold %q", d.Alarm, w))
		}
	}
	if d.Stands && !o.active(d.Alarm) {
		wrong = append(wrong, d.Alarm+" does not stand at the end")
	}
	return wrong
}

// dueFrom returns from when an alarm is due, s after Start.
func (s *Scene) dueFrom(d *Due) int64 {
	if d.From != 0 {
		return d.From
	}
	return s.From
}

// find returns the first raise of an alarm that is due, nil where there is none.
func (s *Scene) find(d *Due, o *Outcome) *rules.Transition {
	from := second(s.dueFrom(d))
	for i := range o.Transitions {
		if t := &o.Transitions[i]; t.Alarm == d.Alarm && t.At >= from && raised(t) {
			return t
		}
	}
	return nil
}

// Sent returns the text in which people get a transition by mail.
func Sent(t *rules.Transition) string {
	_, body := notify.MailText(t, nil)
	return body
}

// after returns how long after a second of the scene a transition came.
func after(from int64, t *rules.Transition) string {
	return fmt.Sprintf("%.1f s", float64(t.At.Sub(second(from)))/1e9)
}

// flips returns what is wrong where a station changed its state more often than most times in any
// minute from a second of the scene on.
func flips(from int64, most int) func(*Outcome) []string {
	return func(o *Outcome) []string {
		worst, at := 0, 0
		for i := range o.Intervals {
			n := 0
			for k := i; k < len(o.Intervals) && o.Intervals[k].From.Sub(o.Intervals[i].From) < 60e9; k++ {
				n++
			}
			if o.Intervals[i].From >= second(from) && n > worst {
				worst, at = n, i
			}
		}
		if worst <= most {
			return nil
		}
		return []string{fmt.Sprintf("the state changed %d times in the minute from %s on, expected at most %d", worst, o.Intervals[at].From, most)}
	}
}

// all joins several checks.
func all(checks ...func(*Outcome) []string) func(*Outcome) []string {
	return func(o *Outcome) (wrong []string) {
		for _, c := range checks {
			wrong = append(wrong, c(o)...)
		}
		return wrong
	}
}
