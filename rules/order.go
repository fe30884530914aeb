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
	{Kind: "close", About: "say what caused the alarm and what was done", Alarm: true, Reason: true},
	{Kind: "vented", About: "a person's word that outlet and tank were vented and checked at a local gauge", Reason: true},
	{Kind: "note", About: "write something down about the station", Reason: true, Record: true},
	{Kind: "inspected", About: "record a done inspection with the reference of its document", Reason: true, Record: true},
}

// Orders gives the kinds of commands.
func Orders() []Order { return append([]Order(nil), orders[:]...) }

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
	MostName       = 80                              // characters of a name
	MostReason     = 1000                            // characters of a reason or note
	MostShelved    = 30 * 24 * 60 * station.Minute60 // ns
	MostShelvedTop = 12 * 60 * station.Minute60      // ns, of alarms on pressure that is there
)

// shelvedShortly are the alarms that are never hidden for more than a shift.
var shelvedShortly = map[string]bool{PressureLeft: true, "over-pressure": true}

// Refusal says why a command is not taken and what to do instead.
type Refusal struct{ Text string }

// Error gives the text.
func (r *Refusal) Error() string { return r.Text }

func refusal(format string, args ...any) error { return &Refusal{fmt.Sprintf(format, args...)} }

// Refuse tells why a command may not go into the log, nil where it may. now is our clock; own
// names alarms beside those of the catalogue.
func Refuse(c *station.Command, now station.Instant, own ...string) error {
	o, ok := FindOrder(c.Kind)
	if !ok {
		return refusal("kind is %.40q: expected one of %s", c.Kind, kinds())
	}
	if err := words("who", "your name", c.By, MostName, true); err != nil {
		return err
	}
	if err := words("why", reasonOf(&o), c.Note, MostReason, o.Reason); err != nil {
		return err
	}
	if err := o.alarm(c.Alarm, own); err != nil {
		return err
	}
	if c.Kind == "close" {
		if err := closing(c.Note); err != nil {
			return err
		}
	}
	return o.until(c, now)
}

func (o *Order) alarm(name string, own []string) error {
	switch {
	case !o.Alarm && name != "":
		return refusal("%s concerns the station, not an alarm: leave alarm out", o.Kind)
	case o.Alarm && index(name) < 0 && !slices.Contains(own, name):
		return refusal("alarm is %.40q: expected one of %s", name, orderNames())
	}
	return nil
}

func (o *Order) until(c *station.Command, now station.Instant) error {
	switch {
	case !o.Until && c.Until != 0:
		return refusal("%s has no end: leave minutes out", o.Kind)
	case !o.Until:
		return nil
	case c.Until <= now:
		return refusal("the end of the shelving lies in the past: give the minutes from now on, such as 60")
	case shelvedShortly[c.Alarm] && c.Until.Sub(now) > MostShelvedTop:
		return refusal("%s may be shelved for 12 h at most (720 minutes)", c.Alarm)
	case c.Until.Sub(now) > MostShelved:
		return refusal("an alarm may be shelved for 30 days at most (43200 minutes); out-of-service has no end")
	}
	return nil
}

// words checks a text that a person wrote.
func words(field, what, text string, most int, needed bool) error {
	switch {
	case needed && strings.TrimSpace(text) == "":
		return refusal("%s is missing: give %s", field, what)
	case !utf8.ValidString(text) || strings.ContainsFunc(text, func(r rune) bool { return unicode.IsControl(r) && r != '\n' && r != '\t' && r != '\r' }):
		return refusal("%s holds characters that are no text: write %s in UTF-8", field, what)
	case utf8.RuneCountInString(text) > most:
		return refusal("%s is longer than %d characters: shorten it", field, most)
	}
	return nil
}

func reasonOf(o *Order) string {
	switch o.Kind {
	case "note":
		return "the text of the note"
	case "inspected":
		return "the reference of the document"
	case "vented":
		return "which gauge was read"
	case "close":
		return "cause and what was done"
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

func orderNames() string {
	list := make([]string, len(catalogue))
	for i := range catalogue {
		list[i] = catalogue[i].Name
	}
	return strings.Join(list, ", ")
}
