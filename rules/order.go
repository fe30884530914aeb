package rules

import (
	"fmt"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"strokewise/analyzer/station"
)

// Order is a kind of command that a person may give, with what it needs.
type Order struct {
	Kind   string
	About  string
	Alarm  bool // concerns one alarm
	Reason bool // needs a reason
	Until  bool // ends at a time
	Record bool // is written down and changes no alarm
}

// orders are the kinds of commands.
var orders = [...]Order{
	{Kind: "acknowledge", About: "I have seen this alarm", Alarm: true},
	{Kind: "shelve", About: "hide the alarm for a time", Alarm: true, Reason: true, Until: true},
	{Kind: "unshelve", About: "end a shelving early", Alarm: true},
	{Kind: "out-of-service", About: "take the alarm out of service until somebody puts it back", Alarm: true, Reason: true},
	{Kind: "in-service", About: "put the alarm back in service", Alarm: true},
	{Kind: "close", About: "close an alarm that has ended, with its cause and what was done", Alarm: true, Reason: true},
	{Kind: "vented", About: "state that outlet and tank are vented and were checked at a local gauge; it replaces no lock-out", Reason: true},
	{Kind: "at-work", About: "declare work on this station until a time: pressure that returns is an alarm at once. This is no lock-out and protects nobody", Reason: true, Until: true},
	{Kind: "work-ended", About: "end your declared work on this station, or that of others, named in the reason"},
	{Kind: "note", About: "write a note about the station", Reason: true, Record: true},
	{Kind: "done", About: "record a service as done: what, the day, and the reference of its document", Reason: true, Record: true},
	{Kind: "inspected", About: "record a tank inspection as done, with the reference of its document", Reason: true, Record: true},
}

// FindOrder gives the kind of command of that name.
func FindOrder(kind string) (Order, bool) {
	for _, o := range orders {
		if o.Kind == kind {
			return o, true
		}
	}
	return Order{}, false
}

// Bounds of commands.
const (
	MostName   = 80   // characters of a name
	MostReason = 1000 // characters of a reason or note
)

// Refusal says why a command is not taken and what to do instead.
type Refusal struct{ Text string }

// Error gives the text.
func (r *Refusal) Error() string { return r.Text }

func refusal(format string, args ...any) error { return &Refusal{fmt.Sprintf(format, args...)} }

// Refuse tells why a command may not go into the log of the station of a plate, nil where
// it may: the evaluator there would refuse the rest. now is our clock; open names alarms
// beside those of the station's set.
func Refuse(c *station.Command, now station.Instant, plate *station.Plate, open ...string) error {
	set, err := setOf(plate.Alarms)
	if err != nil { // of another program: the evaluator takes the catalogue too
		set = catalogue
	}
	o, ok := FindOrder(c.Kind)
	if !ok {
		return refusal("kind is %.40q: expected one of %s", c.Kind, kinds())
	}
	if err := words("who", "your name", c.By, MostName, true); err != nil {
		return err
	}
	if err := words("why", reasonOf(&o), textOf(c), MostReason, o.Reason); err != nil {
		return err
	}
	if err := words("why", "the note", c.Note, MostReason, false); err != nil {
		return err
	}
	if err := o.alarm(c.Alarm, set, open); err != nil {
		return err
	}
	switch c.Kind {
	case "close":
		if err := closing(c); err != nil {
			return err
		}
	case "done":
		if err := recording(c, now); err != nil {
			return err
		}
	}
	i := slices.IndexFunc(set, func(d Definition) bool { return d.Name == c.Alarm })
	if i < 0 {
		return o.until(c, now, &Definition{Name: c.Alarm, ShelveAtMost: usualShelving})
	}
	if c.Kind == "out-of-service" && set[i].FailSafe {
		return refusal("%s guards people and is never out of service: shelve it, %s at most", c.Alarm, limit(set[i].ShelveAtMost))
	}
	return o.until(c, now, &set[i])
}

// recording refuses a record that does not say what was done, or is of a day to come.
func recording(c *station.Command, now station.Instant) error {
	if !recorded(c) {
		return refusal("a record needs what (%s), the date as in 2026-01-10, and the reference of the document", strings.Join(ServiceKinds(), ", "))
	}
	if c.Date > now.Add(24*60*station.Minute60).Time().Format("2006-01-02") {
		return refusal("the date %s is in the future: give the day on which it was done", c.Date)
	}
	return nil
}

// limit puts the longest shelving in words, with its minutes.
func limit(ns int64) string {
	minutes := ns / station.Minute60
	switch {
	case minutes%(24*60) == 0:
		return fmt.Sprintf("%d d (%d minutes)", minutes/(24*60), minutes)
	case minutes%60 == 0:
		return fmt.Sprintf("%d h (%d minutes)", minutes/60, minutes)
	}
	return fmt.Sprintf("%d minutes", minutes)
}

func (o *Order) alarm(name string, set []Definition, own []string) error {
	switch {
	case !o.Alarm && name != "":
		return refusal("%s concerns the station, not an alarm: leave alarm out", o.Kind)
	case o.Alarm && !slices.Contains(namesOf(set), name) && !slices.Contains(own, name):
		return refusal("alarm is %.40q: expected one of %s", name, strings.Join(namesOf(set), ", "))
	}
	return nil
}

func (o *Order) until(c *station.Command, now station.Instant, def *Definition) error {
	switch {
	case !o.Until && c.Until != 0:
		return refusal("%s has no end: leave minutes out", o.Kind)
	case !o.Until:
		return nil
	case o.Kind == "at-work":
		return workUntil(c, now)
	case c.Until <= now:
		return refusal("the end of the shelving is past: give minutes from now, such as 60")
	case c.Until.Sub(now) > def.ShelveAtMost && def.FailSafe:
		return refusal("%s guards people and may be shelved for %s at most", c.Alarm, limit(def.ShelveAtMost))
	case c.Until.Sub(now) > def.ShelveAtMost:
		return refusal("%s may be shelved for %s at most; out-of-service has no end", c.Alarm, limit(def.ShelveAtMost))
	}
	return nil
}

// workUntil refuses a time of work that is over, or too long.
func workUntil(c *station.Command, now station.Instant) error {
	switch {
	case c.Until <= now:
		return refusal("the end of the work is past: give minutes from now, such as 60")
	case c.Until.Sub(now) > LongestWork:
		return refusal("work is declared for %s at most; declare it again when the time is over", limit(LongestWork))
	}
	return nil
}

// words checks a text that a person wrote.
func words(field, what, text string, most int, needed bool) error {
	switch {
	case needed && strings.TrimSpace(text) == "":
		return refusal("%s is missing: give %s", field, what)
	case !utf8.ValidString(text) || strings.ContainsFunc(text, notText):
		return refusal("%s holds characters that are not text: write %s in UTF-8", field, what)
	case field == "who" && strings.ContainsFunc(strings.TrimSpace(text), notName):
		return refusal("%s holds line breaks or characters that are not seen: write %s as it reads", field, what)
	case utf8.RuneCountInString(text) > most:
		return refusal("%s is longer than %d characters: shorten it", field, most)
	}
	return nil
}

// notText reports whether a character has no place in a text of a person: control characters, and those
// that break lines or turn the direction of what stands behind them.
func notText(r rune) bool {
	return unicode.IsControl(r) && r != '\n' && r != '\t' && r != '\r' || r == '\u2028' || r == '\u2029' || r >= '\u202a' && r <= '\u202e' || r >= '\u2066' && r <= '\u2069'
}

// notName reports whether a character has no place in a name: it is not seen, or not on one line.
func notName(r rune) bool { return unicode.In(r, unicode.Cc, unicode.Cf, unicode.Zl, unicode.Zp) }

// textOf returns the text that a command of its kind needs: what a person wrote.
func textOf(c *station.Command) string {
	if c.Kind == "done" || c.Kind == "inspected" {
		return c.Document
	}
	return c.Note
}

func reasonOf(o *Order) string {
	switch o.Kind {
	case "note":
		return "the text of the note"
	case "inspected", "done":
		return "the reference of the document"
	case "vented":
		return "which gauge was read"
	case "at-work":
		return "what you are working on"
	case "close":
		return "what was done about the cause"
	}
	return "the reason"
}

func kinds() string {
	list := make([]string, len(orders))
	for i := range orders {
		list[i] = orders[i].Kind
	}
	return strings.Join(list, ", ")
}
