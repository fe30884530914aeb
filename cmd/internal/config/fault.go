package config

import (
	"errors"
	"fmt"
	"sort"
	"strings"
	"unicode/utf8"
)

// Error is one fault of a configuration. Its text is one line and holds no secret.
type Error struct {
	File     string
	Line     int    // 0 where it is not known
	Key      string // dotted path: stations[0].booster.set_pressure; empty: the file as a whole
	Problem  string
	Expected string // may be empty
	Example  string // may be empty
}

// Error gives "file:line: key: problem; expected ...; example: ...".
func (e *Error) Error() string {
	var b strings.Builder
	b.WriteString(e.File)
	if e.Line > 0 {
		fmt.Fprintf(&b, ":%d", e.Line)
	}
	b.WriteString(": ")
	if e.Key != "" {
		b.WriteString(e.Key + ": ")
	}
	b.WriteString(e.Problem)
	if e.Expected != "" {
		b.WriteString("; expected " + e.Expected)
	}
	if e.Example != "" {
		b.WriteString("; example: " + e.Example)
	}
	return b.String()
}

// faults collects errors.
type faults struct {
	list []*Error
	more int // beyond maxFaults
}

func (f *faults) add(e *Error) {
	if len(f.list) >= maxFaults {
		f.more++
		return
	}
	f.list = append(f.list, e)
}

// join gives all errors in the order of their lines, nil if there are none.
func (f *faults) join(file string) error {
	if len(f.list) == 0 {
		return nil
	}
	sort.SliceStable(f.list, func(i, k int) bool { return f.list[i].Line < f.list[k].Line })
	all := make([]error, 0, len(f.list)+1)
	for _, e := range f.list {
		all = append(all, e)
	}
	if f.more > 0 {
		all = append(all, &Error{File: file, Problem: fmt.Sprintf("there are %d more faults like these", f.more)})
	}
	return errors.Join(all...)
}

// quote gives a text of the file for a message: quoted, on one line, shortened.
func quote(s string) string {
	const longest = 60
	if len(s) > longest {
		cut := longest
		for cut > 0 && !utf8.RuneStart(s[cut]) {
			cut--
		}
		s = s[:cut] + "..."
	}
	return fmt.Sprintf("%q", s)
}

// list gives "a, b or c".
func list(names []string) string {
	if n := len(names); n > 1 {
		return strings.Join(names[:n-1], ", ") + " or " + names[n-1]
	}
	return strings.Join(names, "")
}
