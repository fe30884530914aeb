package station

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"unicode/utf8"
)

// QuantityError tells what is wrong with a quantity "number unit", what would be right,
// and gives an example. It never holds more than the text that was to be read.
type QuantityError struct {
	Found    string // the text as given, shortened
	Problem  string // what is wrong with it: "has no unit"
	Expected string // "a length in mm, cm, m, in or ft"
	Example  string // "63 mm"
}

// Error gives the whole story in one line.
func (e *QuantityError) Error() string {
	return fmt.Sprintf("%q %s; expected %s; example: %s", e.Found, e.Problem, e.Expected, e.Example)
}

// unit is one way to write a quantity: its name and what one of it is in SI.
type unit struct {
	name   string
	factor float64
}

// quantity describes a kind of quantity.
type quantity struct {
	what     string // "a length"
	units    []unit // the ones to recommend first
	aliases  []unit // other spellings, not listed in messages
	example  string
	negative bool // whether values below zero make sense
}

// fail makes the error for the text s.
func (q *quantity) fail(s, problem string) *QuantityError {
	const longest = 40
	if len(s) > longest {
		cut := longest
		for cut > 0 && !utf8.RuneStart(s[cut]) {
			cut--
		}
		s = s[:cut] + "..."
	}
	return &QuantityError{Found: s, Problem: problem, Expected: q.what + " in " + q.list(), Example: q.example}
}

// list names the units: "mm, cm, m or in".
func (q *quantity) list() string {
	names := make([]string, len(q.units))
	for i, u := range q.units {
		names[i] = u.name
	}
	if n := len(names); n > 1 {
		return strings.Join(names[:n-1], ", ") + " or " + names[n-1]
	}
	return strings.Join(names, "")
}

// parse reads "number unit" and gives the value in SI.
func (q *quantity) parse(s string) (float64, error) {
	number, name := splitQuantity(s)
	if number == "" {
		return 0, q.fail(s, "does not start with a number")
	}
	v, err := strconv.ParseFloat(number, 64)
	if err != nil {
		return 0, q.fail(s, "is out of range")
	}
	if name == "" {
		return 0, q.fail(s, "has no unit")
	}
	if strings.HasPrefix(name, ",") {
		return 0, q.fail(s, "has a comma in its number (write a dot)")
	}
	factor, problem := q.factor(name)
	if problem != "" {
		return 0, q.fail(s, problem)
	}
	v *= factor
	if math.IsInf(v, 0) {
		return 0, q.fail(s, "is out of range")
	}
	if v < 0 && !q.negative {
		return 0, q.fail(s, "is negative")
	}
	return v, nil
}

// factor finds a unit, or says what is wrong with its name. Case matters: mPa is no MPa.
func (q *quantity) factor(name string) (float64, string) {
	alike := ""
	for _, list := range [...][]unit{q.units, q.aliases} {
		for _, u := range list {
			if u.name == name {
				return u.factor, ""
			}
			if alike == "" && strings.EqualFold(u.name, name) {
				alike = u.name
			}
		}
	}
	if alike != "" {
		return 0, fmt.Sprintf("has an unknown unit (did you mean %s?)", alike)
	}
	return 0, "has an unknown unit"
}

// splitQuantity cuts "6.3 bar abs" into "6.3" and "bar abs": a decimal number, then
// whatever follows with its inner spaces made single.
func splitQuantity(s string) (number, name string) {
	s = strings.TrimSpace(s)
	n := numberLen(s)
	return s[:n], strings.Join(strings.Fields(s[n:]), " ")
}

// numberLen gives the length of the decimal number at the start of s, zero if there is
// none: sign, digits, dot and digits, exponent.
func numberLen(s string) int {
	i := 0
	if i < len(s) && (s[i] == '+' || s[i] == '-') {
		i++
	}
	whole := digits(s[i:])
	i += whole
	fraction := 0
	if i < len(s) && s[i] == '.' {
		fraction = digits(s[i+1:])
		i += 1 + fraction
	}
	if whole+fraction == 0 {
		return 0
	}
	return i + exponentLen(s[i:])
}

// exponentLen gives the length of "e-3" at the start of s, zero where there is none.
func exponentLen(s string) int {
	if s == "" || s[0] != 'e' && s[0] != 'E' {
		return 0
	}
	i := 1
	if i < len(s) && (s[i] == '+' || s[i] == '-') {
		i++
	}
	n := digits(s[i:])
	if n == 0 {
		return 0
	}
	return i + n
}

func digits(s string) int {
	i := 0
	for i < len(s) && s[i] >= '0' && s[i] <= '9' {
		i++
	}
	return i
}
