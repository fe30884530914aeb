package main

import (
	"bytes"
	"compress/gzip"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
)

// mostResident is how much memory a command may hold at most, kB: 400 MB (our own choice; the shipped
// unit has 2 GB for the service).
const mostResident = 400 << 10

// fed runs a command to its end, with a pipe that is filled for as long as somebody reads.
func fed(t *testing.T, path string, fill func(io.Writer) error, args ...string) (code int, said string, peak int64) {
	t.Helper()
	cmd := exec.Command(os.Args[0], args...)
	cmd.Env = append(os.Environ(), childEnv+"=1")
	var out bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &out
	if fill != nil {
		f, err := os.OpenFile(path, os.O_RDWR, 0) // so that neither side waits for the other
		if err != nil {
			t.Fatal(err)
		}
		ended := make(chan struct{})
		go func() {
			defer close(ended)
			for fill(f) == nil {
			}
		}()
		defer func() { f.Close(); <-ended }()
	}
	_ = cmd.Run()
	return cmd.ProcessState.ExitCode(), out.String(), cmd.ProcessState.SysUsage().(*syscall.Rusage).Maxrss
}

// Whatever a command is given, its memory is bounded, and it says what is wrong.
func TestMemoryIsBoundedWhateverComes(t *testing.T) {
	if raced {
		t.Skip("the race detector multiplies memory")
	}
	fifo := func(name string) string {
		path := filepath.Join(t.TempDir(), name)
		if err := syscall.Mkfifo(path, 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	small := write(t, "small.yaml", oneStation)
	trace := write(t, "t.csv", "time,inlet_pressure\n1767225600,600\n")
	chunk := bytes.Repeat([]byte("a"), 32<<10)
	letters := func(w io.Writer) error { _, err := w.Write(chunk); return err }
	header := func(then func(io.Writer) error) func(io.Writer) error {
		first := true
		return func(w io.Writer) error {
			if first {
				first = false
				_, err := io.WriteString(w, "time,inlet_pressure,outlet_pressure\n")
				return err
			}
			return then(w)
		}
	}
	minute := int64(1767225600)
	minutes := func(w io.Writer) error {
		var b bytes.Buffer
		for range 1000 {
			fmt.Fprintf(&b, "%d,600,900\n", minute)
			minute += 60
		}
		_, err := w.Write(b.Bytes())
		return err
	}
	flood := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		for r.Context().Err() == nil {
			if _, err := w.Write(chunk); err != nil {
				return
			}
		}
	}))
	defer flood.Close()
	csv, line, rules, changes := fifo("m.csv"), fifo("l.csv"), fifo("r.yaml"), fifo("c.yaml")
	for _, c := range []struct {
		name, path string
		fill       func(io.Writer) error
		args       []string
		want       string
	}{
		{"a line without end", line, header(letters), []string{"replay", "--config", small, line}, "too long"},
		{"rows without end, a minute apart", csv, header(minutes), []string{"replay", "--config", small, csv}, "half a year"},
		{"an archive of zeros as a trace", "", nil, []string{"replay", "--config", small, zeros(t, 64<<20)}, "too long"},
		{"scripts without end", rules, letters, []string{"alarms", "test", rules}, "larger than"},
		{"changes without end", changes, letters, []string{"replay", "--config", small, "--changes", changes, trace}, "larger than"},
		{"a configuration without end", "", nil, []string{"check", "--config", "/dev/zero"}, "larger than"},
		{"a configuration of small pieces", "", nil, []string{"check", "--config", write(t, "x.yaml", "version: 1\nx: ["+strings.Repeat("1,", 7<<20)+"]\n")}, "at most are read"},
		{"a key without end", "", nil, []string{"backup", "--data", t.TempDir(), "--out", filepath.Join(t.TempDir(), "b"), "--key-file", "/dev/zero"}, "history.db"},
		{"an answer without end", "", nil, []string{"alarm", "note", "northdock/press-4", "x", "--who", "Ada", "--url", flood.URL}, "not taken"},
		{"a recording of a year", "", nil, []string{"rig", "record", "--station", "press-4", "--for", "8760h", "--out", filepath.Join(t.TempDir(), "x")}, "--for"},
		{"a recording of a gigahertz", "", nil, []string{"rig", "record", "--station", "press-4", "--rate", "1e9", "--out", filepath.Join(t.TempDir(), "x")}, "--rate"},
	} {
		t.Run(c.name, func(t *testing.T) {
			code, said, peak := fed(t, c.path, c.fill, c.args...)
			if code != exitFault || !strings.Contains(said, c.want) {
				t.Errorf("exit code %d, want %q: %.500s", code, c.want, said)
			}
			t.Logf("at most %d MB of memory", peak>>10)
			if peak > mostResident {
				t.Errorf("%d kB of memory, %d at most", peak, mostResident)
			}
		})
	}
}

// zeros makes a gzipped file that unpacks to so many zeros.
func zeros(t *testing.T, n int64) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "zeros.csv.gz")
	f, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	z := gzip.NewWriter(f)
	null, err := os.Open("/dev/zero")
	if err != nil {
		t.Skipf("no zeros here: %v", err)
	}
	defer null.Close()
	if _, err := io.CopyN(z, null, n); err != nil {
		t.Fatal(err)
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	return path
}
