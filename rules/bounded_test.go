package rules

import (
	"strings"
	"testing"
)

// A condition is bounded in length, and so in depth and in time.
func TestConditionsAreBounded(t *testing.T) {
	for _, n := range []int{mostCondition/2 - 2, 1 << 20} {
		source := strings.Repeat("(", n) + "fed" + strings.Repeat(")", n)
		if _, err := compile(source); n > mostCondition && (err == nil || !strings.Contains(err.Error(), "at most are read")) {
			t.Errorf("%d brackets: %v", n, err)
		} else if n < mostCondition && err != nil {
			t.Errorf("%d brackets: %v", n, err)
		}
	}
	for _, source := range []string{strings.Repeat("not ", 1000) + "fed", strings.Repeat("-", 4000) + "1 > 0", "fed" + strings.Repeat(" or fed", 500), strings.Repeat("fed ? fed : ", 300) + "fed"} {
		_, _ = compile(source) // taken or not: it returns
	}
}

// No name of a person breaks a line or hides something, and no reason turns the direction of a text.
func TestNamesOfPeople(t *testing.T) {
	for text, want := range map[string][2]bool{ // taken as a name, as a reason
		"Ana Lopes": {true, true}, "Zoë O'Neill-Śmigły": {true, true}, "李雷": {true, true}, "a\nb": {false, true}, "a\r\nb": {false, true}, "a\tb": {false, true},
		"a\u202eb": {false, false}, "a\u2066b": {false, false}, "a\u2028b": {false, false}, "a\u2029b": {false, false}, "a\u200bb": {false, true}, "a\ufeffb": {false, true},
		"a\u00adb": {false, true}, "a\x00b": {false, false}, "a\u009bb": {false, false}, "a\xffb": {false, false},
	} {
		if err := words("who", "your name", text, MostName, true); (err == nil) != want[0] {
			t.Errorf("name %q: %v", text, err)
		}
		if err := words("why", "the reason", text, MostReason, true); (err == nil) != want[1] {
			t.Errorf("reason %q: %v", text, err)
		}
	}
}
