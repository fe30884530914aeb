package access

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"github.com/gofrs/flock"
	"go.yaml.in/yaml/v3"
)

const (
	mostFile  = 4 << 20 // bytes of a users file
	mostUsers = 10_000  // users, and tokens
)

// List is what a users file holds.
type List struct {
	Version int     `yaml:"version"`
	Users   []User  `yaml:"users"`
	Tokens  []Token `yaml:"tokens,omitempty"`
}

// Read reads a users file. Only its owner may be able to read it.
func Read(path string) (*List, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, fmt.Errorf("cannot read users file: %w", err)
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return nil, fmt.Errorf("cannot read users file: %w", err)
	}
	if othersMay(info) || !info.Mode().IsRegular() {
		return nil, fmt.Errorf("users file %q has mode %v: it must be a file for its owner alone, as by chmod 600", path, info.Mode())
	}
	data, err := io.ReadAll(io.LimitReader(f, mostFile+1))
	if err != nil {
		return nil, fmt.Errorf("cannot read users file: %w", err)
	}
	l, err := parse(data)
	if err != nil {
		return nil, fmt.Errorf("users file %q: %w", path, err)
	}
	return l, nil
}

// parse reads the text of a users file.
func parse(data []byte) (*List, error) {
	if len(data) > mostFile {
		return nil, fmt.Errorf("is larger than %d bytes", mostFile)
	}
	if bytes.ContainsAny(data, "&*") { // no name, role or hash needs them, and aliases multiply
		return nil, errors.New("holds & or *, which strokewise user never writes")
	}
	d := yaml.NewDecoder(bytes.NewReader(data))
	d.KnownFields(true)
	var l List
	if err := d.Decode(&l); err != nil {
		return nil, fmt.Errorf("cannot be read: %w", err)
	}
	return &l, l.check()
}

func (l *List) check() error {
	if l.Version != 1 {
		return fmt.Errorf("has version %d, and this program knows 1", l.Version)
	}
	if len(l.Users) > mostUsers || len(l.Tokens) > mostUsers {
		return fmt.Errorf("has more than %d users or tokens", mostUsers)
	}
	seen := map[string]bool{}
	once := func(name string) error {
		key := strings.ToLower(name)
		if seen[key] {
			return fmt.Errorf("%w: %q", errTwice, name)
		}
		seen[key] = true
		return nil
	}
	for i := range l.Users {
		if err := errors.Join(l.Users[i].check(), once(l.Users[i].Name)); err != nil {
			return err
		}
	}
	for i := range l.Tokens {
		if err := errors.Join(l.Tokens[i].check(), once(l.Tokens[i].Name)); err != nil {
			return err
		}
	}
	return nil
}

// Write replaces a users file as a whole, or makes it, for its owner alone.
func Write(path string, l *List) error {
	if err := l.check(); err != nil {
		return err
	}
	var b bytes.Buffer
	b.WriteString("# Users and tokens of strokewise. Written by strokewise user and strokewise token; comments are lost.\n")
	e := yaml.NewEncoder(&b)
	e.SetIndent(2)
	if err := errors.Join(e.Encode(l), e.Close()); err != nil {
		return fmt.Errorf("cannot write users file: %w", err)
	}
	if err := replace(path, b.Bytes()); err != nil {
		return fmt.Errorf("cannot write users file: %w", err)
	}
	return nil
}

// replace puts data in the place of a file in one step: after a crash it is the old or the new one.
func replace(path string, data []byte) error {
	f, err := os.CreateTemp(filepath.Dir(path), "."+filepath.Base(path)+".*") // mode 0600
	if err != nil {
		return err
	}
	defer os.Remove(f.Name())
	_, err = f.Write(data)
	if err = errors.Join(err, f.Sync(), f.Close()); err != nil {
		return err
	}
	return os.Rename(f.Name(), path)
}

// Change reads a users file, lets change alter it, and writes it. One change at a time: a second
// program waits. A file that is not there is an empty one.
func Change(path string, change func(*List) error) error {
	lock := flock.New(path+".lock", flock.SetFlag(os.O_CREATE|os.O_RDWR), flock.SetPermissions(0o600))
	if err := lock.Lock(); err != nil {
		return fmt.Errorf("cannot lock users file: %w", err)
	}
	defer lock.Close()
	l, err := Read(path)
	if errors.Is(err, fs.ErrNotExist) {
		l, err = &List{Version: 1}, nil
	}
	if err == nil {
		err = change(l)
	}
	if err != nil {
		return err
	}
	return Write(path, l)
}
