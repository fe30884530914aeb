package rules

import "strings"

// NothingFound is the cause of an alarm behind which nothing was.
const NothingFound = "nothing found"

// causes are what an alarm can have come from, so that closings can be counted.
var causes = [...]string{"leak", "wear", "blockage", "supply", "setting", "use", "sensor", "planned work", NothingFound}

// Causes gives the causes that "close" takes.
func Causes() []string { return append([]string(nil), causes[:]...) }

// CauseOf reads the note of a closing, "cause: what was done".
func CauseOf(note string) (cause, remedy string, ok bool) {
	before, after, found := strings.Cut(note, ":")
	for _, c := range causes {
		if found && strings.TrimSpace(before) == c {
			return c, strings.TrimSpace(after), true
		}
	}
	return "", "", false
}

// closing refuses a closing without a cause from the list, or without a remedy.
func closing(note string) error {
	_, remedy, ok := CauseOf(note)
	if !ok {
		return refusal("why begins with none of the causes: write %s: and then what was done, as in \"leak: fitting at the tank tightened\"", strings.Join(causes[:len(causes)-1], ", ")+" or "+NothingFound)
	}
	if remedy == "" {
		return refusal("why gives no more than the cause: write what was done behind it, as in \"leak: fitting at the tank tightened\"")
	}
	return nil
}
