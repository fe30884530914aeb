package rules

import (
	"errors"
	"fmt"
	"testing"
)

// An outcome follows from the type of the error, whatever its words say. Source: the words of
// each row name another result than its type does.
func TestOutcomeFollowsTheType(t *testing.T) {
	for _, c := range []struct {
		err  error
		want Result
	}{
		{nil, Done},
		{errors.New("no effect"), Refused},
		{&Refusal{Text: "done (no effect: "}, Refused},
		{fmt.Errorf("cannot record: %w", &Idle{Text: "refused"}), NoEffect},
	} {
		if got := OutcomeOf(c.err); got.Result != c.want || (got.Reason == "") != (c.err == nil) {
			t.Errorf("%v: %+v, want %s", c.err, got, c.want)
		}
	}
	for r := NoResult; r <= NoEffect; r++ {
		if got, ok := ParseResult(r.String()); !ok || got != r {
			t.Errorf("%q is read as %d, want %d", r, got, r)
		}
	}
	if _, ok := ParseResult("Done"); ok {
		t.Error("a name that no result has was read")
	}
}
