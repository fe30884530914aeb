package main

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"strokewise/dashboards/access"
)

// types runs a command line with a standard input.
func types(t *testing.T, input string, args ...string) (code int, out, errOut string) {
	t.Helper()
	stdin = strings.NewReader(input)
	defer func() { stdin = os.Stdin }()
	var o, e bytes.Buffer
	code = executeIn(t.Context(), nil, args, &o, &e)
	return code, o.String(), e.String()
}

func TestUsersAndTokens(t *testing.T) {
	path := filepath.Join(t.TempDir(), "users.yaml")
	for _, c := range []struct {
		input string
		args  []string
		code  int
		want  string // in what is printed
	}{
		{"four hoses and a valve\n", []string{"user", "add", "ana", "--role", "operator", "--scope", "northdock/forming,southmill"}, 0, "added ana, operator"},
		{"four hoses and a valve\n", []string{"user", "add", "Ana", "--role", "viewer"}, 1, "already"},
		{"short\n", []string{"user", "add", "ben", "--role", "viewer"}, 1, "shorter"},
		{"", []string{"user", "add", "ben", "--role", "viewer", "--no-password"}, 0, "added ben"},
		{"x\n", []string{"user", "add", "a<b", "--role", "viewer"}, 1, "expected at most"},
		{"x\n", []string{"user", "add", "eve", "--role", "king"}, 2, "viewer"},
		{"another valve and hoses\n", []string{"user", "password", "ana"}, 0, "another password"},
		{"another valve and hoses\n", []string{"user", "password", "zoe"}, 1, "no user"},
		{"4071\n", []string{"user", "pin", "ben"}, 0, "has a PIN"},
		{"1234\n", []string{"user", "pin", "ben"}, 1, "tries first"},
		{"", []string{"user", "role", "ben", "engineer", "--scope", "northdock"}, 0, "ben is engineer"},
		{"", []string{"user", "list"}, 0, "ana   operator  northdock/forming, southmill  password\nben   engineer  northdock                     PIN at a panel\n"},
		{"", []string{"user", "remove", "ben"}, 0, "removed ben"},
		{"", []string{"user", "remove", "ben"}, 1, "no user"},
		{"", []string{"token", "add", "scraper", "--only", "scrape"}, 0, "swt_"},
		{"", []string{"token", "add", "scraper"}, 1, "twice"},
		{"", []string{"token", "add", "other", "--for", "90000h"}, 1, "--for"},
		{"", []string{"token", "add", "other", "--only", "melt"}, 1, "no action"},
		{"", []string{"token", "list"}, 0, "scraper  swt_"},
		{"", []string{"token", "revoke", "scraper"}, 0, "revoked"},
		{"", []string{"token", "revoke", "scraper"}, 1, "no token"},
	} {
		code, out, errOut := types(t, c.input, append(c.args, "--users", path)...)
		if code != c.code || !strings.Contains(out+errOut, c.want) {
			t.Errorf("%v: code %d, want %d with %q:\n%s%s", c.args, code, c.code, c.want, out, errOut)
		}
	}
	l, err := access.Read(path)
	if err != nil {
		t.Fatal(err)
	}
	if u, ok := l.User("ana"); !ok || !u.Password.Is("another valve and hoses") || len(l.Users) != 1 || len(l.Tokens) != 0 {
		t.Errorf("%+v", l)
	}
}
