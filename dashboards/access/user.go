package access

import (
	"crypto/sha256"
	"encoding/base64"
	"errors"
	"fmt"
	"strings"
)

// User is somebody who may log in.
type User struct {
	Name   string  `yaml:"name"`
	Role   Role    `yaml:"role"`
	Scopes []Scope `yaml:"scope,omitempty"` // none: everywhere
	// Password is empty for those who log in elsewhere: at a proxy, or at a panel by their PIN.
	Password Hash `yaml:"password,omitempty"`
	PIN      Hash `yaml:"pin,omitempty"` // names them at a panel
	Panel    bool `yaml:"panel,omitempty"`
}

// check reports what is wrong with a user that was read.
func (u *User) check() error {
	if err := CheckName(u.Name); err != nil {
		return err
	}
	switch {
	case u.Role < Viewer || u.Role > Administrator:
		return fmt.Errorf("user %q has no role: expected one of %s", u.Name, strings.Join(RoleNames(), ", "))
	case u.Panel && u.PIN != "":
		return fmt.Errorf("user %q is a panel and has a PIN: the people who stand at it have theirs", u.Name)
	}
	for what, h := range map[string]Hash{"password": u.Password, "PIN": u.PIN} {
		if h != "" && h.Check() != nil {
			return fmt.Errorf("the %s of user %q %w", what, u.Name, h.Check())
		}
	}
	return nil
}

// Stamp changes with the password: sessions that began with another one have ended.
func (u *User) Stamp() string {
	sum := sha256.Sum256([]byte("stamp\x00" + u.Password))
	return base64.RawURLEncoding.EncodeToString(sum[:9])
}

// Refusal says why somebody may not do something.
type Refusal struct{ Text string }

// Error returns the text.
func (r *Refusal) Error() string { return r.Text }

// Grant is what somebody who is known may do.
type Grant struct {
	Name   string
	Role   Role
	Scopes []Scope
	Only   []Action // of a token; none: all that the role may
}

// Grant returns what the user may do.
func (u *User) Grant() Grant { return Grant{Name: u.Name, Role: u.Role, Scopes: u.Scopes} }

// May returns nil where the grant holds a, else a *Refusal that says what is missing.
func (g *Grant) May(a Action) error {
	need, ok := Least(a)
	switch {
	case !ok:
		return &Refusal{fmt.Sprintf("%.40q is nothing that anybody may do", a)}
	case g.Role < need:
		return &Refusal{fmt.Sprintf("%s is for the role %s and above, and %s is %s: ask an administrator", a, need, g.Name, article(g.Role))}
	case len(g.Only) > 0 && need > Nobody && !contains(g.Only, a):
		return &Refusal{fmt.Sprintf("the token %s is not for %s", g.Name, a)}
	case len(g.Scopes) > 0 && everywhere[a]:
		return &Refusal{fmt.Sprintf("%s concerns the whole program, and %s may act at %s only: ask an administrator", a, g.Name, scopeList(g.Scopes))}
	}
	return nil
}

// MayAt is May for what is done at a branch of a site.
func (g *Grant) MayAt(a Action, site, branch string) error {
	if err := g.May(a); err != nil {
		return err
	}
	if !Covered(g.Scopes, site, branch) {
		return &Refusal{fmt.Sprintf("%s may act at %s, and not at %s: ask an administrator", g.Name, scopeList(g.Scopes), Scope{site, branch})}
	}
	return nil
}

func article(r Role) string {
	switch r {
	case Nobody:
		return "nobody"
	case Operator, Engineer, Administrator:
		return "an " + r.String()
	}
	return "a " + r.String()
}

func contains(list []Action, a Action) bool {
	for _, x := range list {
		if x == a {
			return true
		}
	}
	return false
}

func scopeList(list []Scope) string {
	out := make([]string, len(list))
	for i, s := range list {
		out[i] = s.String()
	}
	return strings.Join(out, ", ")
}

// errTwice is for names that differ in capitals only: in an audit they are one.
var errTwice = errors.New("a name is given twice")
