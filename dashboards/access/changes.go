package access

import (
	"fmt"
	"slices"
	"strings"
)

// Changes says what differs in another list, a line each, without anything secret.
func (l *List) Changes(next *List) (out []string) {
	for i := range next.Users {
		u := &next.Users[i]
		was, ok := l.User(u.Name)
		if !ok {
			out = append(out, fmt.Sprintf("user %s added: %s, %s", u.Name, u.Role, where(u.Scopes)))
			continue
		}
		out = append(out, was.changes(u)...)
	}
	for i := range l.Users {
		if _, ok := next.User(l.Users[i].Name); !ok {
			out = append(out, fmt.Sprintf("user %s removed", l.Users[i].Name))
		}
	}
	for i := range next.Tokens {
		if t := &next.Tokens[i]; !l.holds(t) {
			out = append(out, fmt.Sprintf("token %s (%s%s) added: %s, %s, until %s", t.Name, TokenMark, t.ID, t.Role, where(t.Scopes), t.Expires.UTC().Format("2006-01-02")))
		}
	}
	for i := range l.Tokens {
		if t := &l.Tokens[i]; !next.holds(t) {
			out = append(out, fmt.Sprintf("token %s (%s%s) revoked", t.Name, TokenMark, t.ID))
		}
	}
	return out
}

func (u *User) changes(next *User) (out []string) {
	if u.Role != next.Role || !slices.Equal(u.Scopes, next.Scopes) {
		out = append(out, fmt.Sprintf("user %s: %s, %s; was %s, %s", next.Name, next.Role, where(next.Scopes), u.Role, where(u.Scopes)))
	}
	if u.Password != next.Password {
		out = append(out, fmt.Sprintf("user %s: another password", next.Name))
	}
	if u.PIN != next.PIN {
		out = append(out, fmt.Sprintf("user %s: another PIN", next.Name))
	}
	return out
}

// holds reports whether the list has a token as it is.
func (l *List) holds(t *Token) bool {
	return slices.ContainsFunc(l.Tokens, func(x Token) bool {
		return x.Hash == t.Hash && x.Role == t.Role && slices.Equal(x.Scopes, t.Scopes) && slices.Equal(x.Only, t.Only) && x.Expires.Equal(t.Expires)
	})
}

func where(scopes []Scope) string {
	if len(scopes) == 0 {
		return "everywhere"
	}
	return "at " + strings.Join(strings.Split(scopeList(scopes), ", "), " and ")
}
