// Package access decides who may do what: users with roles and scopes in a file, API tokens,
// sessions, and how fast a password may be guessed. It knows no HTTP; the time is an argument.
package access

import (
	"fmt"
	"strings"
)

// Role is what somebody is trusted with. Each includes those before it.
type Role int

// The roles. The zero value may do nothing.
const (
	Nobody Role = iota
	Viewer
	Operator
	Engineer
	Administrator
)

var roleNames = [...]string{"nobody", "viewer", "operator", "engineer", "administrator"}

// Roles returns the roles that can be given, the least first.
func Roles() []Role { return []Role{Viewer, Operator, Engineer, Administrator} }

// RoleNames returns the names of the roles that can be given.
func RoleNames() []string { return roleNames[Viewer:] }

// String returns the role's name.
func (r Role) String() string {
	if r < 0 || int(r) >= len(roleNames) {
		return roleNames[Nobody]
	}
	return roleNames[r]
}

// ParseRole returns the role of that name.
func ParseRole(name string) (Role, error) {
	for _, r := range Roles() {
		if r.String() == name {
			return r, nil
		}
	}
	return Nobody, fmt.Errorf("role is %.40q: expected one of %s", name, strings.Join(RoleNames(), ", "))
}

// MarshalText returns the role's name.
func (r Role) MarshalText() ([]byte, error) { return []byte(r.String()), nil }

// UnmarshalText sets the role by its name. "" and "nobody" are no role.
func (r *Role) UnmarshalText(text []byte) (err error) {
	if *r = Nobody; len(text) == 0 || string(text) == Nobody.String() {
		return nil
	}
	*r, err = ParseRole(string(text))
	return err
}
