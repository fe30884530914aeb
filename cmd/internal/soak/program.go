package soak

import (
	"database/sql"
	"errors"
	"fmt"
	"path/filepath"
	"slices"
	"time"

	"strokewise/analyzer/station"
	"strokewise/cmd/internal/app"
	"strokewise/cmd/internal/backup"
	"strokewise/collector/intake"
	"strokewise/collector/rig"
	"strokewise/collector/topic"
	"strokewise/dashboards/cost"
)

// snapshotAge is by how many days a backup's snapshots are older than its other rows.
const snapshotAge = 2

// logKept is for how long the sample log is kept, of the machine's own time: entries are stamped by
// the log's server.
const logKept = 20 * time.Second

// options sets what the program is run with.
func (y *year) options() error {
	specs, err := rig.Plant(0)
	if err != nil {
		return err
	}
	spec, err := rig.Find(specs, "press-4")
	if err != nil {
		return err
	}
	route, err := topic.Compile("boost/{site}/{station}/{channel}")
	if err != nil {
		return err
	}
	y.opt = app.Options{Data: filepath.Join(y.Dir, "data-0"), MaxBytes: 2e9, Keep: logKept, Listen: "127.0.0.1:0", BrokerListen: "127.0.0.1:0",
		Zones: map[string]*time.Location{site: time.UTC}, History: app.Retention{Minutes: keepMinutes},
		Now:   func() time.Time { return station.Instant(y.clock.Load()).Time() },
		Every: app.Intervals{Tick: 1000 * time.Hour, Snapshot: y.snapshotEvery(), Trim: 20 * time.Second, Retain: 5 * time.Second}}
	y.opt.Intake.Routes = []intake.Route{{Pattern: route}}
	y.opt.MQTT.ClientID = "soak"
	y.opt.Tariffs = map[string]*cost.Tariffs{site: {List: y.tariffs()}}
	for i, k := range y.keys {
		p := spec.Plate
		p.Key, p.Branch, p.Header = k, fmt.Sprintf("branch-%d", i%40), fmt.Sprintf("header-%d", i%10)
		y.opt.Stations = append(y.opt.Stations, app.Station{Plate: p, Revision: "1"})
	}
	return nil
}

// energy is what the compressors take, J per m³ ANR.
const energy = 0.12 * 3.6e6

// prices are those of the year's tariffs, EUR per kWh, one after the other; the last one stays.
var prices = [...]float64{0.18, 0.21, 0.1975, 0.25}

// tariffs returns the year's tariffs.
func (y *year) tariffs() []cost.Tariff {
	out := make([]cost.Tariff, len(prices))
	for i, price := range prices {
		out[i] = cost.Tariff{From: first.Add(int64(i) * int64(y.Tariff) * day), Rates: cost.RatesOf(energy, station.Price{PerJoule: price / 3.6e6, Currency: "EUR"}, 0)}
	}
	return out
}

// start runs the program and waits until it is ready.
//
// The program's own clock goes on from the plant's time: what it does at a start after years of silence
// is not played here.
func (y *year) start() error {
	began, at := time.Now(), station.Instant(y.clock.Load()).Time()
	y.opt.Wall = func(t time.Time) time.Time { return at.Add(t.Sub(began)) }
	a, stop, err := app.Start(y.ctx, y.opt)
	if err != nil {
		return err
	}
	y.app = a
	y.stop = func() error {
		y.stop = nil
		return stop()
	}
	return nil
}

// people does what people do at the end of a day.
func (y *year) people(d int) error {
	if slices.Contains(y.Upgrades, d) {
		if err := y.upgrade(); err != nil {
			return fmt.Errorf("upgrade: %w", err)
		}
	}
	if slices.Contains(y.Restores, d+snapshotAge) {
		if err := y.keepSnapshots(); err != nil {
			return fmt.Errorf("restart: %w", err)
		}
	}
	if slices.Contains(y.Restores, d) {
		if err := y.restore(); err != nil {
			return fmt.Errorf("restore: %w", err)
		}
	}
	return nil
}

// upgrade ends the program and starts it with snapshots that a version before has written: it cannot
// read them.
func (y *year) upgrade() error {
	if err := y.stop(); err != nil {
		return err
	}
	if err := y.sql(`UPDATE snapshots SET engine = 'the version before'`); err != nil {
		return err
	}
	y.report.Upgrades++
	return y.start()
}

// restore lets the machine die and goes on with a backup in another folder, without the log. The
// snapshots in the backup are some days older than what it holds else: they are written less often.
func (y *year) restore() error {
	y.report.Restores++
	if err := y.stop(); err != nil {
		return err
	}
	if err := y.ageSnapshots(); err != nil {
		return err
	}
	archive := filepath.Join(y.Dir, fmt.Sprintf("backup-%d.tar.gz", y.report.Restores))
	if _, err := backup.Write(y.ctx, y.opt.Data, archive, backup.WriteOptions{Program: "soak"}); err != nil {
		return err
	}
	y.opt.Data = filepath.Join(y.Dir, fmt.Sprintf("data-%d", y.report.Restores))
	if _, err := backup.Restore(y.ctx, archive, y.opt.Data, backup.RestoreOptions{Who: "soak"}); err != nil {
		return err
	}
	return y.start()
}

// keepSnapshots ends the program, copies its snapshots and starts it again.
func (y *year) keepSnapshots() error {
	if err := y.stop(); err != nil {
		return err
	}
	if err := y.sql(`DROP TABLE IF EXISTS older`, `CREATE TABLE older AS SELECT * FROM snapshots`); err != nil {
		return err
	}
	return y.start()
}

// ageSnapshots sets the snapshots back to those that keepSnapshots copied.
func (y *year) ageSnapshots() error {
	return y.sql(`DELETE FROM snapshots`, `INSERT INTO snapshots SELECT * FROM older`, `DROP TABLE older`)
}

// sql changes the history while the program does not run.
func (y *year) sql(queries ...string) error {
	db, err := sql.Open("sqlite", filepath.Join(y.opt.Data, "history.db"))
	if err != nil {
		return err
	}
	for _, q := range queries {
		if _, e := db.ExecContext(y.ctx, q); e != nil {
			err = errors.Join(err, e)
		}
	}
	return errors.Join(err, db.Close())
}

// snapshotEvery returns how often the program stores snapshots: those of many stations take a while.
func (y *year) snapshotEvery() time.Duration {
	return time.Second + time.Duration(y.Stations)*20*time.Millisecond
}
