package main

import (
	"io/fs"
	"os"
	"path/filepath"
	"syscall"
	"testing"
	"time"

	"strokewise/deploy/peers"
)

// othersMay lists what others may read, write or enter.
func othersMay(t *testing.T, root string) (out []string) {
	t.Helper()
	err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return nil // gone meanwhile
		}
		if info, err := d.Info(); err == nil && info.Mode()&fs.ModeSymlink == 0 && info.Mode().Perm()&0o077 != 0 {
			out = append(out, path+" "+info.Mode().String())
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// Whatever the umask that the program is started with, all that it writes is for its owner only:
// log, database with what SQLite puts beside it, broker, backups. What an older one left is mended.
func TestAllFilesAreForTheirOwner(t *testing.T) {
	old := syscall.Umask(0)
	defer syscall.Umask(old)
	broker := peers.Mosquitto(t)
	data := filepath.Join(t.TempDir(), "data")
	if err := os.MkdirAll(filepath.Join(data, "log", "old"), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(data, "log", "old", "x"), nil, 0o664); err != nil {
		t.Fatal(err)
	}
	cfg := configOf(t, broker.Addr, data, "")
	c := start(t, "run", "--config", cfg)
	c.ready()
	playAll(t, broker.Addr, time.Now().Add(-20*time.Minute).Truncate(time.Minute), 0)
	settled(c, broker.Addr)
	to := t.TempDir()
	if err := os.Chmod(to, 0o700); err != nil {
		t.Fatal(err)
	}
	once(t, "backup", "--config", cfg, "--out", filepath.Join(to, "b"))
	once(t, "backup", "--config", cfg, "--out", filepath.Join(to, "b.tar.gz"))
	for _, path := range append(othersMay(t, data), othersMay(t, to)...) {
		t.Error("running: ", path)
	}
	if code := c.interrupt(); code != 0 {
		t.Errorf("exit code %d: %s", code, c.said())
	}
	for _, path := range othersMay(t, data) {
		t.Error("ended: ", path)
	}
	once(t, "restore", "--config", cfg, "--replace", filepath.Join(to, "b.tar.gz"))
	for _, path := range othersMay(t, data) {
		t.Error("restored: ", path)
	}
}
