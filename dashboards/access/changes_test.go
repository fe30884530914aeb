package access

import (
	"path/filepath"
	"strings"
	"testing"
)

// What somebody did to the users file is said once, when it comes into force, and without secrets.
func TestChangesOfTheUsersFile(t *testing.T) {
	path := filepath.Join(t.TempDir(), "users.yaml")
	l := list()
	if err := Write(path, l); err != nil {
		t.Fatal(err)
	}
	d, err := OpenDirectory(path)
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	d.Changed = func(what []string) { got = append(got, what...) }
	d.User("ana")
	err = Change(path, func(l *List) error {
		l.Users[0].Role, l.Users[0].Scopes, l.Users[0].Password, l.Users[0].PIN = Engineer, nil, NewHash("five hoses", cheap), ""
		l.Users[1] = User{Name: "eve", Role: Administrator}
		l.Tokens = nil
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	d.User("ana")
	d.User("ana")
	want := "user ana: engineer, everywhere; was operator, at northdock/forming\nuser ana: another password\nuser ana: another PIN\nuser eve added: administrator, everywhere\nuser Board 3 removed\ntoken scraper (swt_" +
		l.Tokens[0].ID + ") revoked"
	if text := strings.Join(got, "\n"); text != want {
		t.Errorf("got\n%s\nwant\n%s", text, want)
	}
}
