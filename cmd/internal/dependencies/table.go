package dependencies

import (
	"fmt"
	"strings"
	"time"
)

// Marks between which a document holds the table.
const (
	Begin = "<!-- dependencies: make dependencies -->"
	End   = "<!-- end of dependencies -->"
)

// Table returns the table of modules: what is used, since when, and the newest release.
func Table(list []Module) string {
	var b strings.Builder
	b.WriteString("| module | version | of | newest | of | licence |\n|---|---|---|---|---|---|\n")
	for i := range list {
		m := &list[i]
		newest := m
		if m.script { // no module proxy knows it
			newest = &Module{Version: "-"}
		}
		if m.Update != nil {
			newest = m.Update
		}
		fmt.Fprintf(&b, "| `%s` | %s | %s | %s | %s | %s |\n", m.Path, m.Version, date(m.Time), newest.Version, date(newest.Time), m.Licence)
	}
	return b.String()
}

// date returns a day, "-" for none that is known.
func date(t time.Time) string {
	if t.IsZero() {
		return "-"
	}
	return t.UTC().Format(time.DateOnly)
}

// Replace returns a document with another table between the marks.
func Replace(document, table string) (string, error) {
	before, rest, ok := strings.Cut(document, Begin)
	_, after, closed := strings.Cut(rest, End)
	if !ok || !closed {
		return "", fmt.Errorf("the document has no %s and %s", Begin, End)
	}
	return before + Begin + "\n" + table + End + after, nil
}
