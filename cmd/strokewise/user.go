package main

import (
	"fmt"
	"slices"
	"strings"
	"text/tabwriter"

	"strokewise/dashboards/access"
)

// userCmd are the changes of the users file.
type userCmd struct {
	Add      userAddCmd      `cmd:"" help:"Add a user. The password is asked for, or read from the standard input; it is never on the command line."`
	Role     userRoleCmd     `cmd:"" help:"Give a user another role or scope."`
	Password userPasswordCmd `cmd:"" help:"Give a user another password. Whoever is logged in by the old one is logged out."`
	Pin      userPinCmd      `cmd:"" help:"Give a user a PIN, which names them at a shared panel."`
	Remove   userRemoveCmd   `cmd:"" help:"Remove a user. Whoever is logged in is logged out."`
	List     userListCmd     `cmd:"" help:"List the users."`
}

// usersFile is the file that all of these concern.
type usersFile struct {
	Users string `required:"" placeholder:"FILE" help:"Users file, http.users_file of the configuration."`
}

type userAddCmd struct {
	Name  string         `arg:"" help:"Name to log in with; it stands in the audit."`
	Role  string         `required:"" enum:"${roles}" help:"${enum}."`
	Scope []access.Scope `placeholder:"SITE[/BRANCH]" help:"Where the user may act; default: everywhere. What is read has no scope."`
	Panel bool           `help:"A shared panel: people name themselves at it by their PIN."`
	None  bool           `name:"no-password" help:"No password: the user logs in at the proxy, or by a PIN at a panel."`
	usersFile
}

// Run adds the user.
func (c *userAddCmd) Run(e *env) error {
	role, err := access.ParseRole(c.Role)
	if err != nil {
		return err
	}
	if err := access.CheckName(c.Name); err != nil {
		return err
	}
	u := access.User{Name: c.Name, Role: role, Scopes: c.Scope, Panel: c.Panel}
	if !c.None {
		if u.Password, err = newPassword(e, c.Name); err != nil {
			return err
		}
	}
	err = access.Change(c.Users, func(l *access.List) error {
		if _, ok := l.User(c.Name); ok {
			return fmt.Errorf("there is a user %q already: strokewise user role and password change one", c.Name)
		}
		l.Users = append(l.Users, u)
		return nil
	})
	return said(e, err, "added %s, %s", c.Name, c.Role)
}

type userRoleCmd struct {
	Name  string         `arg:""`
	Role  string         `arg:"" enum:"${roles}" help:"${enum}."`
	Scope []access.Scope `placeholder:"SITE[/BRANCH]" help:"Where the user may act from now on; default: everywhere."`
	usersFile
}

// Run changes the role.
func (c *userRoleCmd) Run(e *env) error {
	role, err := access.ParseRole(c.Role)
	if err != nil {
		return err
	}
	return said(e, c.change(c.Name, func(u *access.User) error {
		u.Role, u.Scopes = role, c.Scope
		return nil
	}), "%s is %s", c.Name, c.Role)
}

type userPasswordCmd struct {
	Name string `arg:""`
	usersFile
}

// Run changes the password.
func (c *userPasswordCmd) Run(e *env) error {
	if err := c.known(c.Name); err != nil {
		return err
	}
	h, err := newPassword(e, c.Name)
	if err != nil {
		return err
	}
	return said(e, c.change(c.Name, func(u *access.User) error {
		u.Password = h
		return nil
	}), "%s has another password", c.Name)
}

type userPinCmd struct {
	Name string `arg:""`
	usersFile
}

// Run changes the PIN.
func (c *userPinCmd) Run(e *env) error {
	if err := c.known(c.Name); err != nil {
		return err
	}
	h, err := newSecret(e, "PIN", access.CheckPIN)
	if err != nil {
		return err
	}
	return said(e, c.change(c.Name, func(u *access.User) error {
		u.PIN = h
		return nil
	}), "%s has a PIN", c.Name)
}

type userRemoveCmd struct {
	Name string `arg:""`
	usersFile
}

// Run removes the user.
func (c *userRemoveCmd) Run(e *env) error {
	err := access.Change(c.Users, func(l *access.List) error {
		n := len(l.Users)
		l.Users = slices.DeleteFunc(l.Users, func(u access.User) bool { return strings.EqualFold(u.Name, c.Name) })
		if n == len(l.Users) {
			return noUser(c.Name)
		}
		return nil
	})
	return said(e, err, "removed %s", c.Name)
}

type userListCmd struct{ usersFile }

// Run lists the users.
func (c *userListCmd) Run(e *env) error {
	l, err := access.Read(c.Users)
	if err != nil {
		return err
	}
	w := tabwriter.NewWriter(e.out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "NAME\tROLE\tSCOPE\tLOGS IN BY")
	for i := range l.Users {
		u := &l.Users[i]
		fmt.Fprintf(w, "%s\t%s\t%s\t%s\n", u.Name, u.Role, scopesOf(u.Scopes), waysOf(u))
	}
	return w.Flush()
}

func waysOf(u *access.User) string {
	var ways []string
	if u.Panel {
		ways = append(ways, "shared panel")
	}
	if u.Password != "" {
		ways = append(ways, "password")
	}
	if u.PIN != "" {
		ways = append(ways, "PIN at a panel")
	}
	if len(ways) == 0 {
		return "proxy only"
	}
	return strings.Join(ways, ", ")
}

func scopesOf(list []access.Scope) string {
	if len(list) == 0 {
		return "everywhere"
	}
	out := make([]string, len(list))
	for i, s := range list {
		out[i] = s.String()
	}
	return strings.Join(out, ", ")
}

// known reports whether there is a user of that name, before anybody types a password in vain.
func (f *usersFile) known(name string) error {
	l, err := access.Read(f.Users)
	if err != nil {
		return err
	}
	if _, ok := l.User(name); !ok {
		return noUser(name)
	}
	return nil
}

func (f *usersFile) change(name string, do func(*access.User) error) error {
	return access.Change(f.Users, func(l *access.List) error {
		for i := range l.Users {
			if strings.EqualFold(l.Users[i].Name, name) {
				return do(&l.Users[i])
			}
		}
		return noUser(name)
	})
}

func noUser(name string) error {
	return fmt.Errorf("there is no user %.80q: strokewise user list shows those that there are", name)
}

// said prints what was done, unless it was not.
func said(e *env, err error, format string, args ...any) error {
	if err == nil {
		_, err = fmt.Fprintf(e.out, format+"\n", args...)
	}
	return err
}
