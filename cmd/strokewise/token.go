package main

import (
	"fmt"
	"path/filepath"
	"slices"
	"text/tabwriter"
	"time"

	"strokewise/cmd/internal/app"
	"strokewise/dashboards/access"
)

// tokenCmd are the tokens of scripts.
type tokenCmd struct {
	Add    tokenAddCmd    `cmd:"" help:"Add a token and print it, once."`
	List   tokenListCmd   `cmd:"" help:"List the tokens, with their last use."`
	Revoke tokenRevokeCmd `cmd:"" help:"Revoke a token: it is refused from now on."`
}

type tokenAddCmd struct {
	Name  string          `arg:"" help:"What it is for; it stands in the audit."`
	Role  string          `default:"viewer" enum:"${roles}" help:"${enum}."`
	Scope []access.Scope  `placeholder:"SITE[/BRANCH]" help:"Where it may act; default: everywhere."`
	Only  []access.Action `placeholder:"ACTION" help:"What it is for, of what its role may do, as in scrape; default: all."`
	For   time.Duration   `default:"2160h" help:"For how long; at most a year."`
	usersFile
}

// longestToken is how long a token may last: whoever needs it longer looks at it once a year.
const longestToken = 366 * 24 * time.Hour

// Run adds the token.
func (c *tokenAddCmd) Run(e *env) error {
	role, err := access.ParseRole(c.Role)
	if err != nil {
		return err
	}
	if c.For <= 0 || c.For > longestToken {
		return fmt.Errorf("--for is %v: expected more than zero and at most %v", c.For, longestToken)
	}
	now := time.Now().UTC().Truncate(time.Second)
	t, secret := access.NewToken(access.Token{Name: c.Name, Role: role, Scopes: c.Scope, Only: c.Only, Created: now, Expires: now.Add(c.For)})
	err = access.Change(c.Users, func(l *access.List) error {
		l.Tokens = append(l.Tokens, t)
		return nil
	})
	return said(e, err, "%s", secret)
}

type tokenListCmd struct {
	Data string `placeholder:"DIR" help:"Data folder of the running program, for the last use."`
	usersFile
}

// Run lists the tokens.
func (c *tokenListCmd) Run(e *env) error {
	l, err := access.Read(c.Users)
	if err != nil {
		return err
	}
	var used map[string]time.Time
	if c.Data != "" {
		if used, err = access.LastUses(filepath.Join(c.Data, app.LoginsFile)); err != nil {
			return err
		}
	}
	w := tabwriter.NewWriter(e.out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "NAME\tBEGINS WITH\tROLE\tSCOPE\tONLY\tEXPIRES\tLAST USE")
	for i := range l.Tokens {
		t := &l.Tokens[i]
		fmt.Fprintf(w, "%s\tswt_%s\t%s\t%s\t%s\t%s\t%s\n", t.Name, t.ID, t.Role, scopesOf(t.Scopes), onlyOf(t.Only), day(t, time.Now()), lastUse(used, t.ID, c.Data != ""))
	}
	return w.Flush()
}

func onlyOf(list []access.Action) string {
	if len(list) == 0 {
		return "all"
	}
	return fmt.Sprint(list)
}

func day(t *access.Token, now time.Time) string {
	text := t.Expires.UTC().Format("2006-01-02 15:04")
	if t.Expired(now) {
		text += " (over)"
	}
	return text
}

func lastUse(used map[string]time.Time, id string, asked bool) string {
	at, ok := used[id]
	switch {
	case ok:
		return at.UTC().Format("2006-01-02 15:04")
	case asked:
		return "never"
	}
	return "give --data"
}

type tokenRevokeCmd struct {
	Name string `arg:"" help:"Name of the token."`
	usersFile
}

// Run revokes the token.
func (c *tokenRevokeCmd) Run(e *env) error {
	err := access.Change(c.Users, func(l *access.List) error {
		n := len(l.Tokens)
		l.Tokens = slices.DeleteFunc(l.Tokens, func(t access.Token) bool { return t.Name == c.Name })
		if n == len(l.Tokens) {
			return fmt.Errorf("there is no token %.80q: strokewise token list shows those that there are", c.Name)
		}
		return nil
	})
	return said(e, err, "revoked %s", c.Name)
}
