package access

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"strokewise/rules"
)

// cheap is the least that Argon2id takes.
var cheap = Cost{Memory: 8, Passes: 1, Threads: 1}

var noon = time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)

// Every command that people can give is somebody's, and nothing is a viewer's that changes anything.
func TestEveryCommandHasARole(t *testing.T) {
	for _, kind := range rules.Commands() {
		if r, ok := Least(Action(kind)); !ok || r < Operator {
			t.Errorf("%s: least role %v, %v", kind, r, ok)
		}
	}
	for _, a := range Actions() {
		need, _ := Least(a)
		for _, r := range append(Roles(), Nobody) {
			if allowed(r, a) != (r >= need) {
				t.Errorf("%s by %v", a, r)
			}
		}
	}
	for _, r := range append(Roles(), Nobody, Role(9), Role(-1)) {
		if allowed(r, "melt") {
			t.Errorf("an action that nobody knows is allowed to %v", r)
		}
	}
}

func TestGrants(t *testing.T) {
	g := Grant{Name: "ana", Role: Operator, Scopes: []Scope{{"northdock", "forming"}, {"southmill", ""}}}
	for _, c := range []struct {
		action       Action
		site, branch string
		ok           bool
	}{
		{"acknowledge", "northdock", "forming", true}, {"acknowledge", "northdock", "welding", false}, {"acknowledge", "northdock", "", false},
		{"acknowledge", "southmill", "any", true}, {"acknowledge", "southmill", "", true}, {"acknowledge", "westgate", "forming", false},
		{"shelve", "northdock", "forming", false}, {"melt", "northdock", "forming", false},
	} {
		if err := g.MayAt(c.action, c.site, c.branch); (err == nil) != c.ok {
			t.Errorf("%s at %s/%s: %v", c.action, c.site, c.branch, err)
		}
	}
	only := Grant{Name: "scraper", Role: Administrator, Only: []Action{Scrape}}
	if only.May(Scrape) != nil || only.May(Look) == nil || only.May("vented") == nil || only.May(Open) != nil {
		t.Error("a token for the metrics alone may do other things, or not what it is for")
	}
}

func TestHash(t *testing.T) {
	h := NewHash("correct horse", cheap)
	if !strings.HasPrefix(string(h), "$argon2id$v=19$m=8,t=1,p=1$") || h == NewHash("correct horse", cheap) {
		t.Errorf("%s: no PHC string, or one without a salt of its own", string(h))
	}
	if !h.Is("correct horse") || h.Is("correct horsf") || h.Is("") || Hash("").Is("") || h.Is(strings.Repeat("x", 300)) {
		t.Error("a wrong secret is taken, or the right one is not")
	}
	// The string of RFC 9106's parameter order with the tag that the reference implementation prints for
	// "password", salt "somesalt", t=2, m=65536, p=1 (test vectors of its own suite, version 19).
	const reference = "$argon2id$v=19$m=65536,t=2,p=1$c29tZXNhbHQ$CTFhFdXPJO1aFaMaO6Mm5c8y7cJHAph8ArZWb2GRPPc"
	if !Hash(reference).Is("password") || Hash(reference).Is("passwore") {
		t.Error("not the Argon2id that others compute")
	}
	for _, bad := range []string{"", "x", "$argon2i$v=19$m=8,t=1,p=1$c29tZXNhbHQ$CTFhFdXPJO1aFaMaO6Mm5Q", "$argon2id$v=16$m=8,t=1,p=1$c29tZXNhbHQ$CTFhFdXPJO1aFaMaO6Mm5Q",
		"$argon2id$v=19$m=99999999,t=1,p=1$c29tZXNhbHQ$CTFhFdXPJO1aFaMaO6Mm5Q", "$argon2id$v=19$m=8,t=0,p=1$c29tZXNhbHQ$CTFhFdXPJO1aFaMaO6Mm5Q",
		"$argon2id$v=19$m=8,t=1,p=4$c29tZXNhbHQ$CTFhFdXPJO1aFaMaO6Mm5Q", "$argon2id$v=19$m=8,t=1,p=1$c29tZXNhbHQ$", "$argon2id$v=19$t=1,m=8,p=1$c29tZXNhbHQ$CTFhFdXPJO1aFaMaO6Mm5Q"} {
		if Hash(bad).Check() == nil {
			t.Errorf("%q is taken for a hash", bad)
		}
	}
}

func TestNewSecretsThatAreNotTaken(t *testing.T) {
	for _, bad := range []string{"short", "aaaaaaaaaaaaaaaa", "ana likes hoses!", strings.Repeat("long ", 100)} {
		if CheckPassword("ana", bad) == nil {
			t.Errorf("password %.20q is taken", bad)
		}
	}
	if err := CheckPassword("ana", "four hoses and a valve"); err != nil {
		t.Error(err)
	}
	for _, bad := range []string{"", "123", "1234", "9876", "1111", "12a4", "1234567890123"} {
		if CheckPIN(bad) == nil {
			t.Errorf("PIN %q is taken", bad)
		}
	}
	if err := CheckPIN("4071"); err != nil {
		t.Error(err)
	}
}

func TestNames(t *testing.T) {
	for name, ok := range map[string]bool{"ana": true, "Änne Ø. O'Hara": true, "a@b.example": true, "Strokewise": false, "": false, " ana": false, "a  b": false, "a\nb": false,
		"ana\u202e": false, "<b>": false, "a,b": false, "a\u200bb": false, strings.Repeat("x", 65): false, "a\xff": false,
		"Анна": true, "Ελένη": true, "\u0430na": false, "an\u03b1": false, "e\u0301va": false, "\u00e9va": true, "\uff41na": false} {
		if (CheckName(name) == nil) != ok {
			t.Errorf("%q: %v", name, CheckName(name))
		}
	}
}

func list() *List {
	token, _ := NewToken(Token{Name: "scraper", Role: Viewer, Only: []Action{Scrape}, Created: noon, Expires: noon.Add(time.Hour)})
	return &List{Version: 1, Tokens: []Token{token}, Users: []User{
		{Name: "ana", Role: Operator, Scopes: []Scope{{"northdock", "forming"}}, Password: NewHash("four hoses", cheap), PIN: NewHash("4071", cheap)},
		{Name: "Board 3", Role: Viewer, Panel: true, Password: NewHash("board board", cheap)}}}
}

func TestUsersFile(t *testing.T) {
	path := filepath.Join(t.TempDir(), "users.yaml")
	l := list()
	if err := Write(path, l); err != nil {
		t.Fatal(err)
	}
	info, err := os.Stat(path)
	if err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("mode %v, %v", info.Mode(), err)
	}
	d, err := OpenDirectory(path)
	if err != nil {
		t.Fatal(err)
	}
	u, ok := d.User("ANA")
	if !ok || u.Role != Operator || !slices.Equal(u.Scopes, l.Users[0].Scopes) || !u.Password.Is("four hoses") || !slices.Equal(d.Named(), []string{"ana"}) {
		t.Errorf("%+v, %v, %v", u, ok, d.Named())
	}
	l.Users = l.Users[1:]
	if err := Write(path, l); err != nil {
		t.Fatal(err)
	}
	if _, ok := d.User("ana"); ok {
		t.Error("a removed user is still there")
	}
	if err := os.WriteFile(path, []byte("version: 1\nusers: [{ name: eve, role: administrator, secret: x }]\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, ok := d.User("Board 3"); !ok || d.Fault() == nil {
		t.Errorf("a damaged file takes the place of the good one: %v", d.Fault())
	}
	if err := os.Chmod(path, 0o640); err != nil {
		t.Fatal(err)
	}
	if _, err := Read(path); err == nil || !strings.Contains(err.Error(), "chmod 600") {
		t.Errorf("a file that others can read: %v", err)
	}
}

func TestUsersFilesThatAreNotTaken(t *testing.T) {
	for _, text := range []string{"", "version: 2", "version: 1\nusers: [{ name: a, role: king }]", "version: 1\nusers: [{ name: a, role: viewer }, { name: A, role: viewer }]",
		"version: 1\nusers: [{ name: a }]", "version: 1\nusers: [{ name: a, role: viewer, scope: ['/x'] }]", "version: 1\nusers: [{ name: a, role: viewer, password: secret }]",
		"version: 1\nusers: [{ name: a, role: viewer, panel: true, pin: '$argon2id$v=19$m=8,t=1,p=1$c29tZXNhbHQ$CTFhFdXPJO1aFaMaO6Mm5Q' }]", "version: 1\nusers: [&a { name: a, role: viewer }]",
		"version: 1\ntokens: [{ name: t, id: 0a0b0c0d0e0f, hash: x, role: viewer }]"} {
		if _, err := parse([]byte(text)); err == nil {
			t.Errorf("%q is taken", text)
		}
	}
}

func TestTokens(t *testing.T) {
	path := filepath.Join(t.TempDir(), "users.yaml")
	token, secret := NewToken(Token{Name: "ci", Role: Operator, Created: noon, Expires: noon.Add(time.Hour)})
	if err := Write(path, &List{Version: 1, Tokens: []Token{token}}); err != nil {
		t.Fatal(err)
	}
	text, err := os.ReadFile(path)
	if err != nil || strings.Contains(string(text), secret[20:]) {
		t.Errorf("the secret is at rest: %v\n%s", err, text)
	}
	d, err := OpenDirectory(path)
	if err != nil {
		t.Fatal(err)
	}
	if got, ok := d.Token(secret); !ok || got.Name != "ci" || got.Expired(noon) || !got.Expired(noon.Add(time.Hour)) {
		t.Errorf("%+v, %v", got, ok)
	}
	for _, bad := range []string{"", "swt_", secret[:len(secret)-1], secret + "x", strings.ToUpper(secret), "swt_" + token.ID + "_", strings.Repeat("swt_", 1000)} {
		if _, ok := d.Token(bad); ok {
			t.Errorf("%.40q is taken", bad)
		}
	}
}

func FuzzUsersFile(f *testing.F) {
	f.Add([]byte("version: 1\nusers: [{ name: a, role: viewer, scope: [b/c] }]\n"))
	f.Add([]byte("version: 1\ntokens: []\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		l, err := parse(data)
		if err != nil {
			return
		}
		for i := range l.Users { // whatever is taken has a role and a name that can stand in a log
			if u := &l.Users[i]; u.Role < Viewer || CheckName(u.Name) != nil {
				t.Errorf("%+v", u)
			}
		}
	})
}

func FuzzHash(f *testing.F) {
	f.Add("$argon2id$v=19$m=8,t=1,p=1$c29tZXNhbHQ$CTFhFdXPJO1aFaMaO6Mm5Q")
	f.Fuzz(func(t *testing.T, text string) {
		p, err := Hash(text).parse()
		if err == nil && (p.cost.Memory > most.Memory || p.cost.Passes > most.Passes || p.cost.Threads > most.Threads || len(p.key) > 64) {
			t.Errorf("%q asks for %+v", text, p.cost)
		}
	})
}

func FuzzTokenSecret(f *testing.F) {
	_, secret := NewToken(Token{})
	f.Add(secret)
	f.Fuzz(func(t *testing.T, text string) {
		if id, ok := tokenID(text); ok && (len(text) > 100 || !strings.HasPrefix(text, "swt_"+id+"_")) {
			t.Errorf("%q: %q", text, id)
		}
	})
}

// allowed reports whether the role may do a.
func allowed(r Role, a Action) bool {
	need, ok := Least(a)
	return ok && r >= need
}
