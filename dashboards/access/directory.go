package access

import (
	"os"
	"strings"
	"sync"
	"time"
)

// Directory is a users file in use. It is read again once it has changed.
type Directory struct {
	path string

	mu    sync.Mutex
	list  *List
	state fileState
	fault error // of the newest reading; the one before it is in force

	// Changed is called with what a new reading has changed, before it is in force. nil: nobody is.
	Changed func(what []string)
}

// fileState tells whether a file is still the same.
type fileState struct {
	size     int64
	modified time.Time
}

// OpenDirectory reads a users file.
func OpenDirectory(path string) (*Directory, error) {
	d := &Directory{path: path, state: stateOf(path)}
	var err error
	if d.list, err = Read(path); err != nil {
		return nil, err
	}
	return d, nil
}

func stateOf(path string) (s fileState) {
	if info, err := os.Stat(path); err == nil {
		s = fileState{info.Size(), info.ModTime()}
	}
	return s
}

// now returns the list as the file has it, or as it was before somebody damaged the file.
func (d *Directory) now() *List {
	d.mu.Lock()
	defer d.mu.Unlock()
	if s := stateOf(d.path); s != d.state {
		d.state = s
		var l *List
		if l, d.fault = Read(d.path); d.fault == nil {
			if what := d.list.Changes(l); d.Changed != nil && len(what) > 0 {
				d.Changed(what)
			}
			d.list = l
		}
	}
	return d.list
}

// Fault returns why the file cannot be used as it is now; what it held before stays in force.
func (d *Directory) Fault() error {
	d.now()
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.fault
}

// User returns the user of that name, capitals or not.
func (d *Directory) User(name string) (User, bool) { return d.now().User(name) }

// Token returns the token with that secret.
func (d *Directory) Token(secret string) (Token, bool) {
	id, ok := tokenID(secret)
	if !ok {
		return Token{}, false
	}
	l := d.now()
	for i := range l.Tokens {
		if t := &l.Tokens[i]; t.ID == id && t.is(secret) {
			return *t, true
		}
	}
	return Token{}, false
}

// Named returns those who have a PIN and may act, for the list at a panel.
func (d *Directory) Named() []string {
	var out []string
	l := d.now()
	for i := range l.Users {
		if l.Users[i].PIN != "" {
			out = append(out, l.Users[i].Name)
		}
	}
	return out
}

// User returns the user of that name, capitals or not.
func (l *List) User(name string) (User, bool) {
	for i := range l.Users {
		if strings.EqualFold(l.Users[i].Name, name) {
			return l.Users[i], true
		}
	}
	return User{}, false
}
