package samplelog

import (
	"errors"
	"testing"
)

// A log keeps its identity when it is opened again; Renew and a new folder give another.
func TestIdentity(t *testing.T) {
	dir := t.TempDir()
	id := func(dir string, renew bool) string {
		t.Helper()
		j, err := Open(t.Context(), Options{Dir: dir, MaxBytes: 1 << 24})
		if err != nil {
			t.Fatal(err)
		}
		defer j.Close()
		id, err := j.ID(t.Context())
		if renew && err == nil {
			was := id
			if id, err = j.Renew(t.Context()); id == was {
				t.Errorf("renewed, and still %q", id)
			}
		}
		if err != nil || len(id) < 20 {
			t.Fatalf("identity %q, %v", id, err)
		}
		return id
	}
	first := id(dir, false)
	if again := id(dir, false); again != first {
		t.Errorf("%q, opened again %q", first, again)
	}
	renewed := id(dir, true)
	if again := id(dir, false); again != renewed {
		t.Errorf("%q, opened again %q", renewed, again)
	}
	if other := id(t.TempDir(), false); other == first || other == renewed {
		t.Error("another folder has the same identity")
	}
}

func TestLock(t *testing.T) {
	dir := t.TempDir()
	unlock, err := Lock(dir)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := Open(t.Context(), Options{Dir: dir, MaxBytes: 1 << 24}); !errors.Is(err, ErrLocked) {
		t.Errorf("a locked folder: %v", err)
	}
	if err := unlock(); err != nil {
		t.Fatal(err)
	}
	j, err := Open(t.Context(), Options{Dir: dir, MaxBytes: 1 << 24})
	if err != nil {
		t.Fatal(err)
	}
	defer j.Close()
	if _, err := Lock(dir); !errors.Is(err, ErrLocked) {
		t.Errorf("the folder of an open log: %v", err)
	}
}
