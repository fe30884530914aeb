package progress

import (
	"fmt"
	"os"
	"strings"
	"testing"

	"golang.org/x/sys/unix"
)

// terminal opens a pseudo terminal.
func terminal(t *testing.T) (master, slave *os.File) {
	t.Helper()
	master, err := os.OpenFile("/dev/ptmx", os.O_RDWR|unix.O_NOCTTY, 0)
	if err != nil {
		t.Skipf("no terminal here: %v", err)
	}
	t.Cleanup(func() { master.Close() })
	if err := unix.IoctlSetPointerInt(int(master.Fd()), unix.TIOCSPTLCK, 0); err != nil {
		t.Skipf("no terminal here: %v", err)
	}
	n, err := unix.IoctlGetInt(int(master.Fd()), unix.TIOCGPTN)
	if err != nil {
		t.Skipf("no terminal here: %v", err)
	}
	if slave, err = os.OpenFile(fmt.Sprintf("/dev/pts/%d", n), os.O_RDWR|unix.O_NOCTTY, 0); err != nil {
		t.Skipf("no terminal here: %v", err)
	}
	t.Cleanup(func() { slave.Close() })
	return master, slave
}

// On a terminal the line is written, and cleared at the end.
func TestATerminalIsWrittenTo(t *testing.T) {
	master, slave := terminal(t)
	s := NewStages(slave, Bytes)
	s.Set("checking", 250e6, 1000e6)
	s.End()
	text := make([]byte, 1000)
	got := ""
	for !strings.HasSuffix(got, "\r\x1b[K") || strings.Count(got, "\x1b[K") < 2 {
		n, err := master.Read(text)
		if err != nil {
			t.Fatal(err)
		}
		got += string(text[:n])
	}
	if !strings.Contains(got, "checking  25 %  250 MB") {
		t.Errorf("%q", got)
	}
}
