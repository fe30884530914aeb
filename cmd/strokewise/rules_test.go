package main

import (
	"bytes"
	"database/sql"
	"os"
	"path/filepath"
	"regexp"
	"testing"

	"strokewise/deploy/peers"
)

// The rules that we ship, in a real Prometheus that scrapes a running program: they are silent while
// all works, and fire when the broker goes and when a page of the history is lost. How long each waits
// is left out here; promtool's tests have that.
func TestShippedRulesFire(t *testing.T) {
	broker := peers.Mosquitto(t)
	data := t.TempDir()
	c := start(t, "run", "--config", configOf(t, broker.Addr, data, ""))
	c.ready()
	text, err := os.ReadFile(filepath.Join("..", "..", "deploy", "prometheus.rules.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	now := regexp.MustCompile(`(?m)^ +for: \w+\n`).ReplaceAllString(string(text), "")
	prom := peers.Prometheus(t, c.addr, write(t, "rules.yaml", now))
	query(t, prom.Addr, `up{job="strokewise"}`, "1")
	query(t, prom.Addr, `strokewise_ready`, "1")
	query(t, prom.Addr, `count(ALERTS{alertstate="firing"})+or+vector(0)`, "0")
	broker.Kill()
	query(t, prom.Addr, `ALERTS{alertname="StrokewiseBrokerAway",alertstate="firing"}`, "1")
	loseOutbox(t, filepath.Join(data, "history.db"))
	query(t, prom.Addr, `ALERTS{alertname="StrokewisePartFails",alertstate="firing",part="history"}`, "1")
	query(t, prom.Addr, `strokewise_ready`, "0")
}

// loseOutbox overwrites the page that the outbox begins with.
func loseOutbox(t *testing.T, path string) {
	t.Helper()
	db, err := sql.Open("sqlite", "file:"+path)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	if _, err := db.Exec(`PRAGMA wal_checkpoint(TRUNCATE)`); err != nil {
		t.Fatal(err)
	}
	var root int64
	if err := db.QueryRow(`SELECT rootpage FROM sqlite_schema WHERE name = 'outbox'`).Scan(&root); err != nil {
		t.Fatal(err)
	}
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	const bytesOfPage = 4096 // SQLite's default
	if _, err := f.WriteAt(bytes.Repeat([]byte{0xa5}, bytesOfPage), (root-1)*bytesOfPage); err != nil {
		t.Fatal(err)
	}
}
