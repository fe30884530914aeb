package access

import (
	"fmt"
	"strings"
)

// Scope is where somebody may act: a site, or a branch of one. What is read has no scope: whoever
// stands beside an outlet must be able to see whether it is charged.
type Scope struct {
	Site   string
	Branch string // "": all of the site's
}

// ParseScope reads "site" or "site/branch".
func ParseScope(text string) (Scope, error) {
	site, branch, cut := strings.Cut(text, "/")
	if site == "" || cut && branch == "" || len(text) > 200 || strings.ContainsFunc(text, hidden) {
		return Scope{}, fmt.Errorf("scope is %.80q: expected a site or a site and a branch, as in northdock or northdock/forming", text)
	}
	return Scope{site, branch}, nil
}

// String returns the scope as ParseScope reads it.
func (s Scope) String() string {
	if s.Branch == "" {
		return s.Site
	}
	return s.Site + "/" + s.Branch
}

// MarshalText returns the scope as ParseScope reads it.
func (s Scope) MarshalText() ([]byte, error) { return []byte(s.String()), nil }

// UnmarshalText sets the scope by its text.
func (s *Scope) UnmarshalText(text []byte) (err error) {
	*s, err = ParseScope(string(text))
	return err
}

// Covers reports whether the scope holds a branch of a site. What belongs to a site as a whole has
// no branch, and needs a scope of the whole site.
func (s Scope) Covers(site, branch string) bool {
	return s.Site == site && (s.Branch == "" || s.Branch == branch)
}

// Covered reports whether any of the scopes holds a branch of a site. No scope at all is everything.
func Covered(scopes []Scope, site, branch string) bool {
	for _, s := range scopes {
		if s.Covers(site, branch) {
			return true
		}
	}
	return len(scopes) == 0
}
