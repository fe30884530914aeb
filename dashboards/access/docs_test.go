package access

import (
	"os"
	"slices"
	"strings"
	"testing"
)

// The table of roles in the documentation is the table that decides.
func TestDocumentationHasTheRoles(t *testing.T) {
	text, err := os.ReadFile("../../deploy/docs/access.md")
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range Roles() {
		_, rest, ok := strings.Cut(string(text), "\n| "+r.String()+" | ")
		line, _, _ := strings.Cut(rest, " |\n")
		var want []string
		for _, a := range Actions() {
			if need, _ := Least(a); need == r {
				want = append(want, "`"+string(a)+"`")
			}
		}
		if got := strings.Fields(line); !ok || !slices.Equal(got, want) {
			t.Errorf("access.md has %s %v, want %v", r, got, want)
		}
	}
}
