package access

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"slices"
	"strings"
	"time"
)

// store is the file in which sessions outlast a restart. It is no part of the history, so that no
// backup holds a login.
type store struct{ path string }

// kept is what the file holds.
type kept struct {
	Key      []byte               `json:"key"`
	Sessions []Session            `json:"sessions"`
	Used     map[string]time.Time `json:"used,omitempty"` // last use of tokens
}

// mostStore bounds what is read, bytes: some 400 a session.
const mostStore = 8 << 20

// read returns what the file holds, nothing where there is no file.
func (s store) read() (kept, error) {
	var k kept
	f, err := os.Open(s.path)
	if errors.Is(err, fs.ErrNotExist) {
		return k, nil
	}
	if err != nil {
		return k, fmt.Errorf("cannot read logins: %w", err)
	}
	defer f.Close()
	data, err := io.ReadAll(io.LimitReader(f, mostStore+1))
	if err == nil {
		err = json.Unmarshal(data, &k)
	}
	if err != nil {
		return kept{}, fmt.Errorf("cannot read logins %q: %w; remove the file: everybody logs in again", s.path, err)
	}
	return k, nil
}

// save writes the file where anything has changed. The lock is held.
func (s *Sessions) save() error {
	if !s.dirty {
		return nil
	}
	k := kept{Key: s.key, Sessions: make([]Session, 0, len(s.sessions)), Used: s.used}
	for _, x := range s.sessions {
		k.Sessions = append(k.Sessions, *x)
	}
	slices.SortFunc(k.Sessions, func(a, b Session) int { return strings.Compare(a.ID, b.ID) })
	data, err := json.Marshal(k)
	if err == nil {
		err = replace(s.store.path, data)
	}
	if s.fault = err; err != nil {
		return fmt.Errorf("cannot store logins: %w", err)
	}
	s.dirty = false
	return nil
}

// LastUses returns when tokens were used last, by their ID, as the file of a data folder has it.
func LastUses(path string) (map[string]time.Time, error) {
	k, err := store{path}.read()
	return k.Used, err
}
