package rules

import "errors"

// Result is what became of a person's command.
type Result uint8

// The results. The zero value is none of them: the command is not decided yet, or an older
// history did not record what became of it.
const (
	NoResult Result = iota
	Done            // it changed what it asks for
	Refused         // a rule forbids it: what was asked for does not hold
	NoEffect        // nothing forbids it, and there is nothing that it could change
)

var results = [...]string{"", "done", "refused", "no effect"}

// String returns the name in outputs and in the history, "" for NoResult.
func (r Result) String() string {
	if int(r) < len(results) {
		return results[r]
	}
	return ""
}

// ParseResult returns the result of a name that String returns, false for any other.
func ParseResult(name string) (Result, bool) {
	for i, n := range results {
		if n == name {
			return Result(i), true
		}
	}
	return NoResult, false
}

// Outcome is what became of a person's command, and why.
type Outcome struct {
	Result Result
	Reason string // for people; "" where it was done
}

// Idle is the error of a command that no rule forbids and that changes nothing.
type Idle struct{ Text string }

// Error returns the reason.
func (i *Idle) Error() string { return i.Text }

// OutcomeOf returns the outcome of a command that Evaluator.Command returned err for.
func OutcomeOf(err error) Outcome {
	var idle *Idle
	switch {
	case err == nil:
		return Outcome{Result: Done}
	case errors.As(err, &idle):
		return Outcome{NoEffect, err.Error()}
	}
	return Outcome{Refused, err.Error()}
}
