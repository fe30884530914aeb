package soak

import (
	"database/sql"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"time"

	"strokewise/analyzer/station"
	"strokewise/dashboards/board"
	"strokewise/dashboards/history"
)

// Report is what a year came to.
type Report struct {
	Rows               []Row
	Entries            int // appended to the log
	Upgrades, Restores int
	Strokes, Published float64
	Spent              float64 // EUR
	Wrong              []string
}

// Row is the state of the program at the end of a stretch of days.
type Row struct {
	Day       int
	Database  int64 // bytes, with its journal
	Log       int64 // bytes of the log's folder
	Heap      int64 // bytes in use after a collection
	Resident  int64 // bytes of the process at its highest so far
	Minutes   int64 // rows
	Intervals int64
	Alarms    int64 // transitions
	Processor time.Duration
	Took      time.Duration // wall time so far
}

// stretch is how many days lie between two rows.
const stretch = 28

// look adds a row at the end of a stretch.
func (y *year) look(d int) error {
	if (d+1)%stretch != 0 && d+1 != y.Days {
		return nil
	}
	if err := y.retained(); err != nil {
		return err
	}
	r := Row{Day: d + 1, Took: time.Since(y.began)}
	r.Database = size(filepath.Join(y.opt.Data, "history.db")) + size(filepath.Join(y.opt.Data, "history.db-wal"))
	r.Log = size(filepath.Join(y.opt.Data, "log"))
	runtime.GC()
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	r.Heap = int64(m.HeapInuse)
	var err error
	if r.Resident, r.Processor, err = usage(); err != nil {
		return err
	}
	db, err := sql.Open("sqlite", "file:"+filepath.Join(y.opt.Data, "history.db")+"?mode=ro")
	if err != nil {
		return err
	}
	defer db.Close()
	err = db.QueryRowContext(y.ctx, `SELECT (SELECT count(*) FROM minutes), (SELECT count(*) FROM intervals), (SELECT count(*) FROM transitions)`).Scan(&r.Minutes, &r.Intervals, &r.Alarms)
	if err != nil {
		return err
	}
	y.report.Rows = append(y.report.Rows, r)
	fmt.Fprintln(y.Log, r.text())
	return nil
}

// retained waits until what is older than is kept has been deleted. The plant's time runs tens of
// thousands of times faster than ours, in which deletion rests between its steps.
func (y *year) retained() error {
	before := y.clock.Load() - int64(keepMinutes+2*24*time.Hour)
	if before < int64(first) {
		return nil
	}
	db, err := sql.Open("sqlite", "file:"+filepath.Join(y.opt.Data, "history.db")+"?mode=ro")
	if err != nil {
		return err
	}
	defer db.Close()
	for {
		var old int64
		if err := db.QueryRowContext(y.ctx, `SELECT count(*) FROM minutes WHERE start < ?`, before).Scan(&old); err != nil || old == 0 {
			return err
		}
		select {
		case <-y.ctx.Done():
			return y.ctx.Err()
		case <-time.After(time.Second):
		}
	}
}

// judge ends the program and compares the stored sums with what was published, and with the stored
// hours.
func (y *year) judge() error {
	if err := y.stop(); err != nil {
		return err
	}
	store, err := history.Open(filepath.Join(y.opt.Data, "history.db"), history.Options{})
	if err != nil {
		return err
	}
	defer store.Close()
	totals, err := store.Totals(y.ctx)
	if err != nil {
		return err
	}
	costs, err := store.TotalCosts(y.ctx)
	if err != nil {
		return err
	}
	for i, k := range y.keys {
		t := totals[k]
		hours, err := store.Hours(y.ctx, k, 0, station.Instant(math.MaxInt64))
		if err != nil {
			return err
		}
		var inHours int64
		var money float64 // EUR, by the hours' air at the price of their day
		for h := range hours {
			inHours += hours[h].Strokes
			tariff := min(int(hours[h].Start.Sub(first)/(int64(y.Tariff)*day)), len(prices)-1)
			money += hours[h].Inlet.CubicMetres() * energy / 3.6e6 * prices[tariff]
		}
		minutes, _ := costs[k].Priced()
		got := float64(costs[k].Money("EUR")) * 1e-6
		y.report.Spent += got
		if math.Abs(got-money) > 1e-6*float64(minutes)+1e-9*money { // each minute is rounded twice, by half a millionth at most
			y.wrong("%s: cost %.6f EUR, by its hours %.6f in %d minutes", k, got, money, minutes)
		}
		want := 2 * y.published[i]
		y.report.Strokes, y.report.Published = y.report.Strokes+float64(t.Strokes), y.report.Published+want
		if math.Abs(float64(t.Strokes)-want) > 1 { // the newest cycle may be half done
			y.wrong("%s: %d strokes, %.0f were published", k, t.Strokes, want)
		}
		if t.Strokes != inHours {
			y.wrong("%s: %d strokes, in hours %d", k, t.Strokes, inHours)
		}
		if n := covered(&t); n > y.clock.Load()-int64(first) {
			y.wrong("%s: states of %s in a year of %s", k, time.Duration(n), time.Duration(y.clock.Load()-int64(first)))
		}
	}
	return nil
}

func (y *year) wrong(format string, args ...any) {
	y.report.Wrong = append(y.report.Wrong, fmt.Sprintf(format, args...))
}

// covered returns the time in all states, ns.
func covered(t *board.Totals) (ns int64) {
	for _, n := range t.StateNs {
		ns += n
	}
	return ns
}

// Text returns the report as a table.
func (r *Report) Text() string {
	var b strings.Builder
	fmt.Fprintln(&b, "| day | database MB | log MB | heap MB | highest resident MB | minutes | intervals | transitions | processor s | wall s |\n|---|---|---|---|---|---|---|---|---|---|")
	for _, x := range r.Rows {
		fmt.Fprintln(&b, x.text())
	}
	fmt.Fprintf(&b, "\n%d upgrades, %d restores, %d entries; strokes %.0f, published %.0f; %.2f EUR at four tariffs\n", r.Upgrades, r.Restores, r.Entries, r.Strokes, r.Published, r.Spent)
	for i, w := range r.Wrong {
		if i == 20 {
			fmt.Fprintf(&b, "... and %d more\n", len(r.Wrong)-i)
			break
		}
		fmt.Fprintln(&b, "WRONG:", w)
	}
	return b.String()
}

func (x *Row) text() string {
	mb := func(n int64) float64 { return float64(n) / 1e6 }
	return fmt.Sprintf("| %d | %.1f | %.1f | %.0f | %.0f | %d | %d | %d | %.0f | %.0f |", x.Day, mb(x.Database), mb(x.Log), mb(x.Heap), mb(x.Resident),
		x.Minutes, x.Intervals, x.Alarms, x.Processor.Seconds(), x.Took.Seconds())
}

// size returns the bytes of a file, or of all files of a folder; those that vanish meanwhile are left out.
func size(path string) (n int64) {
	_ = filepath.WalkDir(path, func(_ string, e os.DirEntry, err error) error {
		if err != nil || e.IsDir() {
			return nil
		}
		if i, err := e.Info(); err == nil {
			n += i.Size()
		}
		return nil
	})
	return n
}
