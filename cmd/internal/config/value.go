package config

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"time"
	"unicode"

	"go.yaml.in/yaml/v3"

	"strokewise/analyzer/station"
)

const minute = time.Minute

// number is a quantity in SI: a plain or typed float, a duration or a count of bytes.
type number interface{ ~int64 | ~float64 }

// bounds of what a quantity may be: above low (or low itself where closed), up to high.
type bounds[T number] struct {
	low, high T
	closed    bool
	text      string
}

// atMost allows values above zero: zero means "not given" further on.
func atMost[T number](high T, text string) bounds[T] {
	return bounds[T]{high: high, text: "more than zero and at most " + text}
}

// free allows zero as well.
func free[T number](high T, text string) bounds[T] {
	return bounds[T]{high: high, closed: true, text: "at most " + text}
}

// between allows low to high.
func between[T number](low, high T, text string) bounds[T] {
	return bounds[T]{low: low, high: high, closed: true, text: text}
}

func (b bounds[T]) hold(v T) bool {
	return (v > b.low || b.closed && v == b.low) && v <= b.high
}

// quantity reads a number with a unit. It tells whether it set the value.
func quantity[T number](m *mapping, key string, parse func(string) (T, error), b bounds[T], into *T) bool {
	v, ok := parsed(m, key, parse)
	if !ok {
		return false
	}
	if !b.hold(v) {
		m.failValue(key, quote(m.entries[key].text())+" is out of range", b.text, examples[key])
		return false
	}
	*into = v
	return true
}

// parsed reads a value by a parser of the station package.
func parsed[T any](m *mapping, key string, parse func(string) (T, error)) (v T, ok bool) {
	var q *station.QuantityError
	if _, err := parse(""); !errors.As(err, &q) {
		q = &station.QuantityError{Expected: "a value"}
	}
	s, ok := m.scalar(key, q.Expected, key+": "+examples[key])
	if m.d.rec != nil {
		m.single(key, "", "").quantity(func(text string) bool { _, err := parse(text); return err == nil })
	}
	if !ok {
		return v, false
	}
	v, err := parse(s)
	if err == nil {
		return v, true
	}
	if errors.As(err, &q) {
		m.failValue(key, quote(q.Found)+" "+q.Problem, q.Expected, examples[key])
	} else {
		m.fail(key, err.Error(), "", "")
	}
	return v, false
}

func (m *mapping) failValue(key, problem, expected, example string) {
	m.fail(key, problem, expected, key+": "+example)
}

// text gives an entry's single value.
func (e entry) text() string {
	if n := follow(e.value); n != nil {
		return n.Value
	}
	return ""
}

// scalar gives the text of a single value; false where the key is absent or wrong.
func (m *mapping) scalar(key, expected, example string) (string, bool) {
	n := m.get(key)
	m.single(key, expected, example)
	switch {
	case n == nil:
		return "", false
	case n.Kind != yaml.ScalarNode || isNull(n):
		m.fail(key, "is "+kind(n), expected, example)
		return "", false
	}
	return n.Value, true
}

// text reads a text of one line.
func (m *mapping) text(key string, into *string, expected, example string) bool {
	const longest = 200
	s, ok := m.scalar(key, expected, example)
	if !ok {
		return false
	}
	problem := ""
	switch s = strings.TrimSpace(s); {
	case s == "":
		problem = "is empty"
	case len(s) > longest:
		problem = fmt.Sprintf("is longer than %d bytes", longest)
	case strings.IndexFunc(s, unprintable) >= 0:
		problem = "holds characters that do not print"
	}
	if problem != "" {
		m.fail(key, problem, expected, example)
		return false
	}
	*into = s
	return true
}

func unprintable(r rune) bool { return !unicode.IsPrint(r) }

// choice reads one of some words and gives its number.
func (m *mapping) choice(key string, words ...string) (int, bool) {
	s, ok := m.scalar(key, list(words), key+": "+words[0])
	if m.d.rec != nil {
		m.single(key, "", "").words(words)
	}
	if !ok {
		return 0, false
	}
	for i, w := range words {
		if s == w {
			return i, true
		}
	}
	problem := quote(s) + " is not known"
	if near := nearest(s, words); near != "" {
		problem += fmt.Sprintf(" (did you mean %s?)", near)
	}
	m.fail(key, problem, list(words), key+": "+words[0])
	return 0, false
}

// flag reads true or false.
func (m *mapping) flag(key string, into *bool) {
	s, ok := m.scalar(key, "true or false", key+": true")
	m.single(key, "", "").only(true, false, "true", "false")
	switch {
	case !ok:
	case s == "true" || s == "false":
		*into = s == "true"
	default:
		m.fail(key, quote(s)+" is no yes or no", "true or false", key+": true")
	}
}

// date reads a day.
func (m *mapping) date(key string, into *string) {
	const expected, example = "a day as year-month-day", "2024-03-01"
	s, ok := m.scalar(key, expected, key+": "+example)
	m.single(key, "", "").pattern = "^[0-9]{4}-[0-9]{2}-[0-9]{2}$"
	if !ok {
		return
	}
	if _, err := time.Parse(time.DateOnly, s); err != nil {
		m.failValue(key, quote(s)+" is no day of the calendar", expected, example)
		return
	}
	*into = s
}

// file reads a path; a relative one is meant from the configuration's directory, and a credential of
// systemd from the directory of those.
func (m *mapping) file(key, example string, into *string) bool {
	var s string
	if !m.text(key, &s, "a path", key+": "+example) {
		return false
	}
	switch name, ok := strings.CutPrefix(s, credentialPlace); {
	case ok:
		return m.credential(key, name, into)
	case strings.HasPrefix(s, envPlace) && !textSecrets[key]:
		m.failValue(key, "cannot be in the environment", "a path, or "+credentialPlace+"NAME", example)
		return false
	case strings.HasPrefix(s, envPlace):
		*into = s
	default:
		*into = m.d.absolute(s)
		if secretKeys[key] && !m.d.opt.NoBroker {
			m.warnOpen(m.at(key), m.sub(key), *into)
		}
	}
	return true
}

// absolute returns a path as it is meant.
func (d *decoder) absolute(path string) string {
	if filepath.IsAbs(path) {
		return path
	}
	return filepath.Join(d.dir, path)
}

// readable reads the path of a file that we must be able to read.
func (m *mapping) readable(key, example string, into *string) {
	if !m.file(key, example, into) || m.d.opt.NoBroker {
		return
	}
	if err := readable(*into); err != nil {
		m.failValue(key, err.Error(), "the path of a file that this program may read", example)
	}
}

func readable(path string) error {
	if name, ok := strings.CutPrefix(path, envPlace); ok {
		return readableEnv(name)
	}
	info, err := os.Stat(path)
	if err == nil && !info.Mode().IsRegular() {
		return fmt.Errorf("%s is no regular file", quote(path))
	}
	if err == nil && info.Size() > MaxText {
		return fmt.Errorf("%s is larger than %d bytes", quote(path), MaxText)
	}
	if err == nil {
		var f *os.File
		if f, err = os.Open(path); err == nil {
			return f.Close()
		}
	}
	var cause *os.PathError
	if errors.As(err, &cause) {
		err = cause.Err
	}
	return fmt.Errorf("cannot read %s: %v", quote(path), err)
}

// name reads an identifier, which the mapping must have.
func (m *mapping) name(key, example string, into *string) bool {
	const expected = "at most 64 letters, digits, - and _"
	s, ok := m.scalar(key, expected, key+": "+example)
	m.single(key, "", "").pattern = "^[A-Za-z0-9_-]{1,64}$"
	switch {
	case !m.has(key):
		m.failValue(key, "is missing", expected, example)
	case ok && !isName(s):
		m.failValue(key, quote(s)+" is no identifier", expected, example)
	case ok:
		*into = s
		return true
	}
	return false
}

// isName tells whether a text can be an identifier: a level of a topic, a part of a
// path, a label.
func isName(s string) bool {
	return s != "" && len(s) <= 64 && strings.IndexFunc(s, func(r rune) bool {
		return !(r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' || r == '-' || r == '_')
	}) < 0
}
