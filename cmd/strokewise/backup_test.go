package main

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"strokewise/deploy/peers"
)

// sums gives the lines of the counters that must survive a restore.
func sums(body string) string {
	var out []string
	for _, l := range strings.Split(body, "\n") {
		if strings.HasPrefix(l, "strokewise_strokes_total") || strings.HasPrefix(l, "strokewise_inlet_air_cubic_meters_total") || strings.HasPrefix(l, "strokewise_state_seconds_total") {
			out = append(out, l)
		}
	}
	return strings.Join(out, "\n")
}

// The program runs, is backed up by another process, killed, and its disk is lost: restored
// from the backup it shows the same totals. A folder in use is not restored into.
func TestBackupAndRestoreOfARunningProgram(t *testing.T) {
	broker := peers.Mosquitto(t)
	data := filepath.Join(t.TempDir(), "data")
	cfg := configOf(t, broker.Addr, data, "history: { minutes: 90 d, hours: 5 y }\n")
	c := start(t, "run", "--config", cfg)
	c.ready()
	playAll(t, broker.Addr, time.Now().Add(-20*time.Minute).Truncate(time.Minute), 0)
	settled(c, broker.Addr)
	archive := filepath.Join(t.TempDir(), "b.tar.gz")
	out := once(t, "backup", "--config", cfg, "--out", archive)
	if !strings.Contains(out, "history of") {
		t.Errorf("backup says %q", out)
	}
	before := sums(c.await("metrics", "/metrics", func(string) bool { return true }))
	if strings.Count(before, "\n") < 10 {
		t.Fatalf("metrics:\n%s", before)
	}
	if code, _, said := call("restore", "--config", cfg, "--replace", archive); code == 0 || !strings.Contains(said, "another process uses it") {
		t.Errorf("under the running program: exit %d, %s", code, said)
	}
	c.kill()
	if code, _, said := call("restore", "--config", cfg, archive); code == 0 || !strings.Contains(said, "--replace") {
		t.Errorf("into a folder that is not empty: exit %d, %s", code, said)
	}
	if err := os.RemoveAll(data); err != nil {
		t.Fatal(err)
	}
	code, said, errOut := call("restore", "--data", data, archive)
	if code != 0 {
		t.Fatalf("restore: %s", errOut)
	}
	t.Log(strings.TrimSpace(said))
	c = start(t, "run", "--config", cfg)
	c.ready()
	after := sums(c.await("metrics", "/metrics", func(string) bool { return true }))
	if after != before {
		t.Errorf("after the restore\n%s\nbefore\n%s", after, before)
	}
	if code := c.interrupt(); code != 0 {
		t.Errorf("exit code %d: %s", code, c.said())
	}
}

func TestBackupCommandLine(t *testing.T) {
	for _, c := range []struct {
		args []string
		want string
	}{
		{[]string{"backup", "--out", "x"}, "--config FILE or --data FOLDER"},
		{[]string{"backup", "--data", "a", "--config", "b", "--out", "x"}, "--config FILE or --data FOLDER"},
		{[]string{"backup", "--data", t.TempDir(), "--out", filepath.Join(t.TempDir(), "x")}, "history.db"},
		{[]string{"restore", "--data", t.TempDir(), "/no/such/backup"}, "/no/such/backup"},
	} {
		if code, _, said := call(c.args...); code == 0 || !strings.Contains(said, c.want) {
			t.Errorf("%v: exit %d, %s", c.args, code, said)
		}
	}
}

// once runs the program to its end, in a process of its own.
func once(t *testing.T, args ...string) string {
	t.Helper()
	cmd := exec.Command(os.Args[0], args...)
	cmd.Env = append(os.Environ(), childEnv+"=1")
	out, err := cmd.CombinedOutput()
	if err != nil {
		t.Fatal(fmt.Errorf("%v: %w: %s", args, err, out))
	}
	return string(out)
}
