package history

import (
	"path/filepath"
	"reflect"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"strokewise/analyzer/station"
)

// Whatever is replaced: minutes, hours and totals are then as if the new minutes had been
// committed in the first place, and the audit has a line.
func TestReplaceIsAsIfItHadBeenSo(t *testing.T) {
	dir := t.TempDir()
	n := 0
	rapid.Check(t, func(t *rapid.T) {
		n++
		k := station.Key{Site: "northdock", Station: "press-4"}
		make := func(name string) *Store {
			s, err := Open(filepath.Join(dir, name+string(rune('a'+n%26))+strings.Repeat("x", n/26)+".db"), Options{})
			if err != nil {
				t.Fatal(err)
			}
			return s
		}
		a, b := make("a"), make("b")
		defer a.Close()
		defer b.Close()
		seen := map[string]bool{}
		var was, is []station.Minute
		for range rapid.IntRange(1, 12).Draw(t, "n") {
			m := drawMinute(t, 2)
			id := m.Start.String() + string(rune(m.Segment))
			if seen[id] {
				continue
			}
			seen[id] = true
			was = append(was, m)
			if rapid.Bool().Draw(t, "other") {
				o := drawMinute(t, 2)
				o.Start, o.Segment = m.Start, m.Segment
				m = o
			}
			is = append(is, m)
		}
		put := func(s *Store, ms []station.Minute) {
			if err := s.Commit(t.Context(), []Commit{{Partition: k.Partition(), Position: 1, Stations: []StationMinutes{{Key: k, Revision: 1, Minutes: ms}}}}); err != nil {
				t.Fatal(err)
			}
		}
		put(a, was)
		put(b, is)
		changed, err := a.Compare(t.Context(), k, is)
		if err != nil {
			t.Fatal(err)
		}
		if err := a.Replace(t.Context(), k, 1, changed, Act{What: "reanalyse"}); err != nil {
			t.Fatal(err)
		}
		for what, get := range map[string]func(*Store) (any, error){
			"minutes": func(s *Store) (any, error) {
				ms, err := s.Minutes(t.Context(), k, 0, ever)
				var out [][]any
				for i := range ms {
					out = append(out, minuteValues(nil, &ms[i]))
				}
				return out, err
			},
			"hours": func(s *Store) (any, error) {
				hs, err := s.Hours(t.Context(), k, 0, ever)
				var out [][]any
				for i := range hs {
					out = append(out, append(hourValues(nil, &hs[i]), real(float64(hs[i].OutletMax))))
				}
				return out, err
			},
			"totals": func(s *Store) (any, error) { return s.Totals(t.Context()) },
		} {
			x, err := get(a)
			if err != nil {
				t.Fatal(err)
			}
			y, err := get(b)
			if err != nil {
				t.Fatal(err)
			}
			if !reflect.DeepEqual(x, y) {
				t.Fatalf("%s\n%v\nas if committed so\n%v", what, x, y)
			}
		}
		acts, err := a.Acts(t.Context(), 0, ever)
		if err != nil || len(acts) != 1 {
			t.Fatalf("%v, %v", acts, err)
		}
	})
}

// A minute that is no longer as it was compared stops the whole replacement.
func TestReplaceAllOrNothing(t *testing.T) {
	s := open(t, filepath.Join(t.TempDir(), "h.db"))
	k := station.Key{Site: "northdock", Station: "press-4"}
	a := minute(0)
	if err := s.Commit(t.Context(), []Commit{{Partition: k.Partition(), Position: 1, Stations: []StationMinutes{{Key: k, Revision: 1, Minutes: []station.Minute{a}}}}}); err != nil {
		t.Fatal(err)
	}
	b := a
	b.Strokes += 7
	gone := minute(1)
	err := s.Replace(t.Context(), k, 2, []Changed{{Was: a, Is: b}, {Was: gone, Is: gone}}, Act{})
	if err == nil || !strings.Contains(err.Error(), "no longer stored") {
		t.Fatal(err)
	}
	ms, err := s.Minutes(t.Context(), k, 0, ever)
	if err != nil || len(ms) != 1 || ms[0].Strokes != a.Strokes {
		t.Errorf("%v, %+v", err, ms)
	}
}
