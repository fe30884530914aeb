package app

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"strokewise/deploy/peers"
)

// smallDisk gives a folder on a disk of its own, in memory, of so many bytes.
func smallDisk(t *testing.T, bytes string) string {
	t.Helper()
	dir := t.TempDir()
	if err := syscall.Mount("tmpfs", dir, "tmpfs", 0, "size="+bytes); err != nil {
		t.Skipf("cannot mount a small disk here: %v", err)
	}
	t.Cleanup(func() {
		if err := syscall.Unmount(dir, 0); err != nil {
			syscall.Unmount(dir, syscall.MNT_DETACH)
		}
	})
	return dir
}

// fillDisk writes a file until the disk is full.
func fillDisk(t *testing.T, path string) {
	t.Helper()
	f, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	for chunk := make([]byte, 64<<10); len(chunk) > 0; {
		if _, err := f.Write(chunk); errors.Is(err, syscall.ENOSPC) {
			chunk = chunk[:len(chunk)/2]
		} else if err != nil {
			t.Fatal(err)
		}
	}
}

// Somebody else's file fills the disk in mid-stream. Acknowledging stops and readiness says
// so; when there is room again everything comes in without a restart, and the conclusions are those of an undisturbed run.
func TestAFullDiskLosesNothing(t *testing.T) {
	from, want := begun, undisturbed(t)
	broker := peers.Mosquitto(t)
	o := plant(t, broker.Addr)
	o.Data = filepath.Join(smallDisk(t, "64m"), "data")
	var log said
	o.Logger = log.logger()
	a, stop := running(t, o)
	played := playing(t, broker.Addr, from, 4*time.Millisecond)
	time.Sleep(500 * time.Millisecond)
	filler := filepath.Join(filepath.Dir(o.Data), "filler")
	fillDisk(t, filler)
	waitFor(t, "unreadiness", func() bool { return a.Ready() != nil })
	t.Logf("readiness says: %v", a.Ready())
	played()
	time.Sleep(500 * time.Millisecond)
	if err := os.Remove(filler); err != nil {
		t.Fatal(err)
	}
	freed := time.Now()
	settle(t, a)
	t.Logf("all is stored %s after the disk was freed; readiness: %v", time.Since(freed).Round(time.Millisecond), a.Ready())
	stop()
	if n := strings.Count(log.String(), "cannot commit, trying again"); n != 1 {
		t.Errorf("failing commits are said %d times", n)
	}
	for _, l := range strings.Split(log.String(), "\n") {
		if strings.Contains(l, "level=ERROR") || strings.Contains(l, "level=WARN") {
			t.Log(l)
		}
	}
	same(t, want, concluded(t, o))
}
