package access

import (
	"fmt"
	"strings"
	"unicode"
	"unicode/utf8"

	"golang.org/x/text/unicode/norm"
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
	if norm.NFKC.String(name) != name || mixed(name) {
		return fmt.Errorf("name is %.80q: its letters look like those of another name; expected composed letters of one alphabet", name)
	}
	if strings.EqualFold(name, "strokewise") {
		return fmt.Errorf("name is %q, as the program calls itself in the audit: take another one", name)
	}
	return nil
}

// alike are the alphabets that have letters in common to the eye.
var alike = []*unicode.RangeTable{unicode.Latin, unicode.Cyrillic, unicode.Greek}

// mixed reports whether a name has letters of more than one of them.
func mixed(name string) bool {
	of := -1
	for _, r := range name {
		for i, table := range alike {
			if unicode.Is(table, r) {
				if of >= 0 && of != i {
					return true
				}
				of = i
			}
		}
	}
	return false
}

// hidden reports whether a character is not seen, or changes how others are seen.
func hidden(r rune) bool { return !unicode.IsPrint(r) }
