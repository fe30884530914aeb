package app

import (
	"database/sql"
	"fmt"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"strokewise/analyzer/station"
	"strokewise/deploy/peers"
)

// A snapshot whose bytes were changed on the disk is noticed by its checksum, said, and
// rebuilt from the log; the conclusions are those of an undisturbed run.
func TestADamagedSnapshotIsRebuiltFromTheLog(t *testing.T) {
	from, want := begun, undisturbed(t)
	broker := peers.Mosquitto(t)
	o := plant(t, broker.Addr)
	_, stop := running(t, o)
	played := playing(t, broker.Addr, from, 4*time.Millisecond)
	time.Sleep(time.Second)
	stop() // writes snapshots
	n := execute(t, o, `UPDATE snapshots SET blob = CAST(substr(blob, 1, length(blob)/2) || X'DEADBEEF' || substr(blob, length(blob)/2 + 5) AS BLOB)`)
	var log said
	o.Logger = log.logger()
	a, stop := running(t, o)
	played()
	settle(t, a)
	stop()
	if k := strings.Count(log.String(), "checksum does not match"); int64(k) != n || n == 0 {
		t.Errorf("%d damaged snapshots, %d said:\n%s", n, k, log.String())
	}
	same(t, want, concluded(t, o))
}

// block gives the newest block file of the sample log.
func block(t testing.TB, o Options) string {
	t.Helper()
	f, err := filepath.Glob(filepath.Join(o.Data, "log", "stream", "jetstream", "$G", "streams", "SAMPLES", "msgs", "*.blk"))
	if err != nil || len(f) == 0 {
		t.Fatal(f, err)
	}
	slices.Sort(f)
	return f[len(f)-1]
}

// A log that lost its end, as after a power cut: it goes on behind it and says so. What
// was concluded before stays, nothing is counted twice, and what comes then is concluded.
func TestALogThatLostItsEndGoesOn(t *testing.T) {
	t.Parallel() // it waits more than it works
	broker := peers.Mosquitto(t)
	o := plant(t, broker.Addr)
	twice(t, o, broker.Addr, lostFrom, func() {})
	want := concluded(t, o)
	for name, lose := range map[string]func(t *testing.T, path string){
		"truncated": func(t *testing.T, path string) {
			i, err := os.Stat(path)
			if err == nil {
				err = os.Truncate(path, i.Size()*9/10)
			}
			if err != nil {
				t.Fatal(err)
			}
		},
		"last record changed": func(t *testing.T, path string) {
			b, err := os.ReadFile(path)
			if err == nil {
				b[len(b)-40] ^= 0xff
				err = os.WriteFile(path, b, 0o600)
			}
			if err != nil {
				t.Fatal(err)
			}
		},
	} {
		for _, index := range []bool{true, false} { // after a clean end; after a kill
			for _, snapshots := range []bool{true, false} {
				if index && !snapshots {
					continue
				}
				t.Run(fmt.Sprintf("%s, index %v, snapshots %v", name, index, snapshots), func(t *testing.T) {
					lostEnd(t, want, lose, index, snapshots)
				})
			}
		}
	}
}

// twice plays the recordings two times, half an hour apart, with a restart between them
// before which meddle may do what it likes.
func twice(t *testing.T, o Options, addr string, from time.Time, meddle func()) {
	t.Helper()
	for i := range 2 {
		a, stop := running(t, o)
		play(t, addr, from.Add(time.Duration(i)*30*time.Minute), 0)
		settle(t, a)
		stop()
		if i == 0 {
			meddle()
		}
	}
}

// lostFrom begins in a minute's middle, two rounds of the recordings ago.
var lostFrom = minuteBegun().Add(-40 * time.Minute)

func lostEnd(t *testing.T, want map[station.Key]conclusions, lose func(*testing.T, string), index, snapshots bool) {
	broker := peers.Mosquitto(t)
	o := plant(t, broker.Addr)
	var log said
	o.Logger = log.logger()
	var first map[station.Key]conclusions
	twice(t, o, broker.Addr, lostFrom, func() {
		first = concluded(t, o)
		path := block(t, o)
		lose(t, path)
		if !index {
			if err := os.Remove(filepath.Join(filepath.Dir(path), "index.db")); err != nil {
				t.Fatal(err)
			}
		}
		if !snapshots {
			execute(t, o, `DELETE FROM snapshots`)
		}
	})
	for _, l := range strings.Split(log.String(), "\n") {
		if strings.Contains(l, "level=ERROR") {
			t.Log(l)
		}
	}
	if text := log.String(); !strings.Contains(text, "lost its newest entries") && !strings.Contains(text, "files are damaged") {
		t.Errorf("nothing is said of the damage:\n%s", text)
	}
	got := concluded(t, o)
	if snapshots { // they hold what was in the lost entries
		same(t, want, got)
		return
	}
	compared := 0
	for k, c := range got {
		n, w := len(first[k].Minutes), want[k].Minutes
		if len(c.Minutes) < n || !reflect.DeepEqual(c.Minutes[:n], first[k].Minutes) {
			t.Errorf("%s: minutes that were stored have changed", k)
			continue
		}
		// the second round is whole, but for its first minute: what was standing before it is not known
		again := func(m station.Minute) bool { return m.Start < station.InstantOf(lostFrom.Add(31*time.Minute)) }
		second, wanted := slices.DeleteFunc(slices.Clone(c.Minutes), again), slices.DeleteFunc(slices.Clone(w), again)
		if compared += len(second); len(second) != len(wanted) {
			t.Errorf("%s: %d minutes of the second round, undisturbed %d", k, len(second), len(wanted))
			continue
		}
		for i := range wanted {
			if d := second[i].Strokes - wanted[i].Strokes; d < -1 || d > 1 {
				t.Errorf("%s: %d strokes in minute %s, undisturbed %d", k, second[i].Strokes, second[i].Start, wanted[i].Strokes)
			}
		}
	}
	if compared < 10 {
		t.Errorf("only %d minutes were compared", compared)
	}
}

// execute changes the history of a run that has ended.
func execute(t *testing.T, o Options, query string) int64 {
	t.Helper()
	db, err := sql.Open("sqlite", filepath.Join(o.Data, "history.db"))
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	r, err := db.Exec(query)
	if err != nil {
		t.Fatal(err)
	}
	n, _ := r.RowsAffected()
	return n
}
