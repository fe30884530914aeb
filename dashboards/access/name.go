package access

import (
	"fmt"
	"strings"
	"unicode"
	"unicode/utf8"
)

// mostName is the longest name of a user or token, characters. Own choice: it fits a line of the audit.
const mostName = 64

// CheckName reports what is wrong with a name of a user or token: it stands in audit and logs, and
// must look like what it is.
func CheckName(name string) error {
	bad := func(r rune) bool {
		return !unicode.IsLetter(r) && !unicode.IsDigit(r) && !unicode.Is(unicode.M, r) && !strings.ContainsRune(" ._-@'", r)
	}
	if name == "" || utf8.RuneCountInString(name) > mostName || !utf8.ValidString(name) || strings.ContainsFunc(name, bad) ||
		strings.TrimSpace(name) != name || strings.Contains(name, "  ") {
		return fmt.Errorf("name is %.80q: expected at most %d letters, digits, single spaces and . _ - @ '", name, mostName)
	}
	if strings.EqualFold(name, "strokewise") {
		return fmt.Errorf("name is %q, as the program calls itself in the audit: take another one", name)
	}
	return nil
}

// hidden reports whether a character is not seen, or changes how others are seen.
func hidden(r rune) bool { return !unicode.IsPrint(r) }
