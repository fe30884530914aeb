package trace

import "fmt"

// Error is a fault of a trace: where, what, and what was expected, with an example.
type Error struct {
	File     string
	Line     int
	Column   string // "" where the whole line is meant
	Problem  string
	Expected string
	Err      error // what reading the file gave, nil for a fault of its contents
}

// Error gives it in one line.
func (e *Error) Error() string {
	where := fmt.Sprintf("%s:%d", e.File, e.Line)
	if e.Column != "" {
		where += ": column " + e.Column
	}
	return fmt.Sprintf("cannot read trace %s: %s; expected %s", where, e.Problem, e.Expected)
}

// Unwrap gives what reading the file gave.
func (e *Error) Unwrap() error { return e.Err }

func (r *Reader) fail(column, problem, expected string) error {
	if quoted := fmt.Sprintf("%.60q", column); quoted != `"`+column+`"` {
		column = quoted // too long, or with characters that do not belong on a screen
	}
	return &Error{File: r.name, Line: r.line, Column: column, Problem: problem, Expected: expected}
}

// broken is the fault of a file that cannot be read on.
func (r *Reader) broken(err error) error {
	return &Error{File: r.name, Line: r.line, Err: err, Problem: err.Error(),
		Expected: "a whole file, plain or gzipped; it may have been cut off: copy it again, or test it with gzip -t"}
}
