package app

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"time"

	"strokewise/analyzer/station"
	"strokewise/cmd/internal/backup"
	"strokewise/collector/mqtt"
	"strokewise/collector/playback"
	"strokewise/collector/samplelog"
	"strokewise/dashboards/board"
	"strokewise/dashboards/history"
	"strokewise/deploy/peers"
)

// oneStation sends minutes of one station whose counter shows a cycle every other second, but in
// every fourth minute.
type oneStation struct {
	t    *testing.T
	opt  Options
	key  station.Key
	from time.Time
	pub  *mqtt.Publisher
}

func newPlant(t *testing.T) *oneStation {
	t.Helper()
	b := peers.Mosquitto(t)
	p := &oneStation{t: t, opt: options(t, b.Addr, "press-4"), key: station.Key{Site: playback.Site, Station: "press-4"},
		from: time.Now().Add(-3 * time.Hour).Truncate(time.Hour)}
	p.opt.Every = Intervals{Commit: 10 * time.Millisecond, Tick: time.Hour, Snapshot: time.Hour}
	var err error
	if p.pub, err = mqtt.NewPublisher(t.Context(), "tcp://"+b.Addr, "sensors"); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { p.pub.Close() })
	return p
}

// send publishes minutes from up to, without, to, and waits until all but the last have
// been stored.
func (p *oneStation) send(a *App, from, to int) {
	p.t.Helper()
	for m := from; m < to; m++ {
		at := m - m/4 // minutes of cycles
		in, out, cycles := make([]string, 60), make([]string, 60), make([]string, 60)
		for i := range 60 {
			in[i], out[i], cycles[i] = "600", fmt.Sprint(880+i%3), fmt.Sprint((at*60+i)/2)
			if m%4 == 3 {
				cycles[i] = fmt.Sprint(at * 30)
			}
		}
		msg := fmt.Sprintf(`{"t0":%d,"dt":1,"inlet_pressure":[%s],"outlet_pressure":[%s],"cycles":[%s]}`, p.from.Unix()+int64(m)*60,
			strings.Join(in, ","), strings.Join(out, ","), strings.Join(cycles, ","))
		if err := p.pub.Publish(p.t.Context(), "boost/"+playback.Site+"/press-4", []byte(msg)); err != nil {
			p.t.Fatal(err)
		}
	}
	waitFor(p.t, "the minutes", func() bool {
		ms, err := a.store.Minutes(p.t.Context(), p.key, p.at(to-2), p.at(to))
		if err != nil {
			p.t.Fatal(err)
		}
		return len(ms) > 0
	})
}

func (p *oneStation) at(minute int) station.Instant {
	return station.InstantOf(p.from.Add(time.Duration(minute) * time.Minute))
}

// kept is what a history holds of the station.
type kept struct {
	Minutes   []station.Minute
	Gaps      []station.Gap
	Intervals []station.Interval
	Totals    board.Totals
}

// all reads it, and checks that the totals are the sums of the minutes and gaps.
func (p *oneStation) all(s *history.Store) kept {
	p.t.Helper()
	ctx := p.t.Context()
	var k kept
	var err error
	if k.Minutes, err = s.Minutes(ctx, p.key, 0, math.MaxInt64); err != nil {
		p.t.Fatal(err)
	}
	if k.Gaps, err = s.Gaps(ctx, p.key, 0, math.MaxInt64); err != nil {
		p.t.Fatal(err)
	}
	if k.Intervals, err = s.Intervals(ctx, p.key, 0, math.MaxInt64); err != nil {
		p.t.Fatal(err)
	}
	totals, err := s.Totals(ctx)
	if err != nil {
		p.t.Fatal(err)
	}
	k.Totals = totals[p.key]
	var sum board.Totals
	for i := range k.Minutes {
		m := &k.Minutes[i]
		sum.Add(m)
		if m.InletMean != m.InletMean {
			m.InletMean, m.OutletMean, m.OutletMax = -1, -1, -1
		}
	}
	for _, g := range k.Gaps {
		sum.AddGap(g)
	}
	if k.Totals != sum {
		p.t.Errorf("totals %+v, the sum of minutes and gaps %+v", k.Totals, sum)
	}
	for i := 1; i < len(k.Intervals); i++ {
		if v := k.Intervals[i-1]; k.Intervals[i].From < v.To && k.Intervals[i].Segment == v.Segment {
			p.t.Errorf("intervals %+v and %+v overlap", v, k.Intervals[i])
		}
	}
	return k
}

// stored reads it from a database that nobody has open.
func (p *oneStation) stored(data string) kept {
	p.t.Helper()
	s, err := history.Open(filepath.Join(data, "history.db"), history.Options{})
	if err != nil {
		p.t.Fatal(err)
	}
	defer s.Close()
	return p.all(s)
}

// backup makes a backup beside the running app.
func (p *oneStation) backup() string {
	p.t.Helper()
	out := filepath.Join(p.t.TempDir(), "b.tar.gz")
	if _, err := backup.Write(p.t.Context(), p.opt.Data, out, backup.WriteOptions{Program: "test"}); err != nil {
		p.t.Fatal(err)
	}
	return out
}

func (p *oneStation) restore(from string, opt backup.RestoreOptions) kept {
	p.t.Helper()
	opt.Who = "tester"
	if _, err := backup.Restore(p.t.Context(), from, p.opt.Data, opt); err != nil {
		p.t.Fatal(err)
	}
	return p.stored(p.opt.Data)
}

// shown gives the totals on the pages.
func (p *oneStation) shown(a *App) board.Totals {
	p.t.Helper()
	s, ok := a.board.Get(p.key)
	if !ok {
		p.t.Fatal("the station is not on the board")
	}
	return s.Totals
}

// goesOn checks that a restored history is shown as it was, takes new samples after a gap,
// and changes nothing that it held.
func (p *oneStation) goesOn(was kept) {
	p.t.Helper()
	a, stop := running(p.t, p.opt)
	if got := p.shown(a); got != was.Totals {
		p.t.Errorf("the pages show %+v, the backup holds %+v", got, was.Totals)
	}
	p.send(a, 40, 46)
	if s, _ := a.board.Get(p.key); s.Late > 0 {
		p.t.Errorf("%d samples came late: what the log held before was worked off again", s.Late)
	}
	stop()
	shown := p.shown(a)
	now := p.stored(p.opt.Data)
	if shown != now.Totals {
		p.t.Errorf("the pages showed %+v, stored is %+v", shown, now.Totals)
	}
	if n := len(was.Minutes); len(now.Minutes) < n || !reflect.DeepEqual(now.Minutes[:n], was.Minutes) {
		p.t.Errorf("%d minutes of the backup are not what they were", n)
	}
	if n := len(was.Intervals); len(now.Intervals) < n || !reflect.DeepEqual(now.Intervals[:n], was.Intervals) {
		p.t.Errorf("intervals are\n%+v\nwere\n%+v", now.Intervals, was.Intervals)
	}
	// minutes, the gap behind the newest of them up to 40, and minutes again: without the snapshots there would be no gap
	if len(now.Gaps) != 1 || now.Gaps[0].To != p.at(40) || now.Gaps[0].From != was.Minutes[len(was.Minutes)-1].Start.Add(station.Minute60) {
		p.t.Fatalf("gaps %v", now.Gaps)
	}
	for i, m := range now.Minutes {
		if m.Start >= now.Gaps[0].From {
			i += int(now.Gaps[0].Minutes())
		}
		if m.Start != p.at(i) {
			p.t.Fatalf("minute %d is that of %s, want %s, gap %v: the engines did not go on from their snapshots", i, m.Start, p.at(i), now.Gaps)
		}
	}
	for _, m := range now.Minutes[len(was.Minutes):] {
		switch n := int(m.Start.Sub(p.at(0)) / station.Minute60); {
		case n > 40 && n%4 != 3 && (m.Strokes < 58 || m.Strokes > 60) || n%4 == 3 && m.Strokes > 3:
			p.t.Errorf("minute %d: %d strokes", n, m.Strokes)
		}
	}
	if got := now.Minutes[len(now.Minutes)-1].Start; got < p.at(44) {
		p.t.Errorf("the newest minute is %s", got)
	}
	_, stop = running(p.t, p.opt) // and once more, as ever after
	stop()
	if again := p.stored(p.opt.Data); !reflect.DeepEqual(again, now) {
		p.t.Error("another start changed the history")
	}
}

// audit gives what was done, oldest first.
func (p *oneStation) audit() string {
	p.t.Helper()
	s, err := history.Open(filepath.Join(p.opt.Data, "history.db"), history.Options{})
	if err != nil {
		p.t.Fatal(err)
	}
	defer s.Close()
	acts, err := s.Acts(p.t.Context(), 0, math.MaxInt64)
	if err != nil {
		p.t.Fatal(err)
	}
	var b strings.Builder
	for _, a := range acts {
		fmt.Fprintf(&b, "%s: %s: %s\n", a.Who, a.What, a.Detail)
	}
	return b.String()
}

func (p *oneStation) audited(words ...string) {
	p.t.Helper()
	got := p.audit()
	for _, w := range append(words, "tester: restore") {
		if !strings.Contains(got, w) {
			p.t.Errorf("the audit lacks %q:\n%s", w, got)
		}
	}
}

// end returns the last position of the station's partition.
func (p *oneStation) end(a *App) uint64 {
	p.t.Helper()
	last, _, err := a.samples.Last(p.t.Context(), p.key.Partition())
	if err != nil {
		p.t.Fatal(err)
	}
	return last
}

// twice runs some minutes, saves the engines' state in a stop, and runs some more, so that
// the snapshots are older than the history; then it makes a backup.
func (p *oneStation) twice(from int) (a *App, stop func(), archive string) {
	p.t.Helper()
	a, stop = running(p.t, p.opt)
	p.send(a, from, 6)
	stop()
	a, stop = running(p.t, p.opt)
	p.send(a, 6, 12)
	return a, stop, p.backup()
}

// Restored into an empty folder, with no log: all is as at the backup, the time since is a
// gap, and new samples continue. The engines are minutes older than the history.
func TestRestoreWithoutALog(t *testing.T) {
	p := newPlant(t)
	a, stop, archive := p.twice(0)
	p.send(a, 12, 15) // lost
	stop()
	p.opt.Data = filepath.Join(t.TempDir(), "new")
	was := p.restore(archive, backup.RestoreOptions{})
	if n := len(was.Minutes); n < 10 || n > 12 {
		t.Errorf("the backup has %d minutes", n)
	}
	p.goesOn(was)
	p.audited("a new log begins", archive)
}

// The log is still there and holds more than the backup: nothing is lost. Minutes, states
// and totals are those of a run that was never interrupted.
func TestRestoreBesideALogThatIsAhead(t *testing.T) {
	p := newPlant(t)
	a, stop, archive := p.twice(0)
	p.send(a, 12, 18)
	stop()
	whole := p.stored(p.opt.Data)
	was := p.restore(archive, backup.RestoreOptions{Replace: true, KeepLog: true})
	if len(was.Minutes) >= len(whole.Minutes) {
		t.Fatalf("the backup has %d minutes of %d", len(was.Minutes), len(whole.Minutes))
	}
	_, stop = running(t, p.opt)
	stop()
	if now := p.stored(p.opt.Data); !reflect.DeepEqual(now, whole) {
		t.Errorf("after the restore\n%+v\nundisturbed\n%+v", now, whole)
	}
	p.audited("holds what followed the backup")
}

// The log was restored from an older copy: what it holds is in the history already, and is
// left out. Its next entries have numbers that the history has worked off, and are taken.
func TestRestoreBesideALogThatIsBehind(t *testing.T) {
	p := newPlant(t)
	a, stop := running(t, p.opt)
	p.send(a, 0, 3)
	stop()
	old := filepath.Join(t.TempDir(), "log")
	if err := os.CopyFS(old, os.DirFS(filepath.Join(p.opt.Data, "log"))); err != nil {
		t.Fatal(err)
	}
	_, stop, archive := p.twice(3)
	stop()
	if err := os.RemoveAll(filepath.Join(p.opt.Data, "log")); err != nil {
		t.Fatal(err)
	}
	if err := os.CopyFS(filepath.Join(p.opt.Data, "log"), os.DirFS(old)); err != nil {
		t.Fatal(err)
	}
	p.goesOn(p.restore(archive, backup.RestoreOptions{Replace: true, KeepLog: true}))
	p.audited("a new log begins", "is left out")
}

// The log has been trimmed beyond the restored engines' snapshots: they go on with a gap.
func TestRestoreBesideATrimmedLog(t *testing.T) {
	p := newPlant(t)
	_, stop, archive := p.twice(0)
	stop()
	l, err := samplelog.Open(t.Context(), samplelog.Options{Dir: filepath.Join(p.opt.Data, "log"), MaxBytes: p.opt.MaxBytes})
	if err != nil {
		t.Fatal(err)
	}
	size, err := l.Size(t.Context())
	if err == nil {
		err = l.Trim(t.Context(), size.Last)
	}
	if err != nil || l.Close() != nil {
		t.Fatal(err)
	}
	p.goesOn(p.restore(archive, backup.RestoreOptions{Replace: true, KeepLog: true}))
	p.audited("is missing")
}

// A log that was replaced and has grown since is told by its identity.
func TestAReplacedLogThatHasGrownIsRefused(t *testing.T) {
	p := newPlant(t)
	a, stop := running(t, p.opt)
	p.send(a, 0, 3)
	before := p.end(a)
	stop()
	db := filepath.Join(p.opt.Data, "history.db")
	aside := filepath.Join(t.TempDir(), "history.db")
	if err := os.Rename(db, aside); err != nil {
		t.Fatal(err)
	}
	if err := os.RemoveAll(filepath.Join(p.opt.Data, "log")); err != nil {
		t.Fatal(err)
	}
	a, stop = running(t, p.opt)
	for m := 3; p.end(a) <= before; m += 9 { // how many messages are in an entry is a matter of time
		p.send(a, m, m+9)
	}
	stop()
	if err := os.Rename(aside, db); err != nil {
		t.Fatal(err)
	}
	for _, f := range []string{db + "-wal", db + "-shm"} {
		_ = os.Remove(f)
	}
	b, err := New(t.Context(), p.opt)
	if err == nil {
		b.Close()
		t.Fatal("it started")
	}
	if !strings.Contains(err.Error(), "another sample log") || !strings.Contains(err.Error(), "strokewise restore") {
		t.Error(err)
	}
}
