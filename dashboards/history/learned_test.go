package history

import (
	"path/filepath"
	"testing"

	"strokewise/analyzer/station"
)

// What was learned is stored with its commit, the newest only, and found after a restart; a copy has it, and a history that
// goes on with another log keeps it, as of before all that log holds.
func TestLearnedIsStored(t *testing.T) {
	path := filepath.Join(t.TempDir(), "history.db")
	s := open(t, path)
	know := func(s *Store) Learned {
		t.Helper()
		all, err := s.Learned(t.Context())
		if err != nil || len(all) > 1 {
			t.Fatalf("%v, %v", all, err)
		}
		return all[press]
	}
	if l := know(s); l.Blob != nil {
		t.Errorf("an empty history has %+v", l)
	}
	for i, text := range []string{"little", "more"} {
		c := commit(uint64(40+i), []station.Minute{minute(i)})
		c.Learned = []Learned{{Key: press, At: minute(i).Start, Blob: []byte(text)}}
		do(t, s, c)
	}
	do(t, s, commit(42, []station.Minute{minute(2)}))
	check := func(s *Store, position uint64) {
		t.Helper()
		if l := know(s); l.Position != position || l.At != minute(1).Start || string(l.Blob) != "more" || l.Damaged || l.Key != press {
			t.Errorf("found %+v, want what was stored at %d", l, position)
		}
	}
	s.Close()
	s = open(t, path)
	check(s, 41)

	to := filepath.Join(t.TempDir(), "copy.db")
	if _, err := Copy(t.Context(), path, to); err != nil {
		t.Fatal(err)
	}
	other := open(t, to)
	check(other, 41)
	if err := other.BeginLog(t.Context(), NewLog{Log: "other", Act: Act{Who: "strokewise", What: "start"}}); err != nil {
		t.Fatal(err)
	}
	check(other, 0)

	if _, err := s.write.Exec(`UPDATE learned SET blob = x'00'`); err != nil {
		t.Fatal(err)
	}
	if l := know(s); !l.Damaged {
		t.Errorf("a changed record is taken for whole: %+v", l)
	}
}

// A commit that is refused stores nothing of what was learned.
func TestLearnedGoesWithItsCommit(t *testing.T) {
	s := open(t, filepath.Join(t.TempDir(), "history.db"))
	do(t, s, commit(40, []station.Minute{minute(0)}))
	c := commit(40, nil)
	c.Learned = []Learned{{Key: press, At: 1, Blob: []byte("x")}}
	if err := s.Commit(t.Context(), []Commit{c}); err == nil {
		t.Error("a stale commit was stored")
	}
	if all, err := s.Learned(t.Context()); err != nil || len(all) != 0 {
		t.Errorf("stored %v, %v", all, err)
	}
}
