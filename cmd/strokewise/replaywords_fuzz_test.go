package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// FuzzWords: whatever a file of words holds, it is a list of commands in the order of their times, or refused with its name.
func FuzzWords(f *testing.F) {
	f.Add([]byte("- { at: 2026-01-10T09:00:00Z, say: at-work, by: Ada, until: 2026-01-10T12:00:00Z, why: changing seals }\n"))
	f.Add([]byte("- { at: 2026-01-10T09:00:00Z, say: nothing }\n"))
	f.Add([]byte("a: &a [x, x]\nb: [*a, *a]\n"))
	dir := f.TempDir()
	f.Fuzz(func(t *testing.T, data []byte) {
		path := filepath.Join(dir, "words.yaml")
		if err := os.WriteFile(path, data, 0o600); err != nil {
			t.Fatal(err)
		}
		w, err := readWords(path)
		if err != nil {
			if !strings.Contains(err.Error(), path) {
				t.Error(err)
			}
			return
		}
		for i := range w.list {
			if _, err := w.list[i].command(); err != nil || i > 0 && w.list[i].At.Before(w.list[i-1].At) {
				t.Errorf("entry %d: %+v, %v", i, w.list[i], err)
			}
		}
	})
}
