package trace

import (
	"bytes"
	"compress/gzip"
	"errors"
	"flag"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/iotest"
	"unicode/utf8"

	"strokewise/analyzer/station"
)

var update = flag.Bool("update", false, "write what is found as what is wanted")

// Each file of testdata/faults has one fault; what is said of it stands beside it.
func TestFaultsSayWhereWhatAndWhatWasExpected(t *testing.T) {
	files, err := filepath.Glob("testdata/faults/*.csv")
	if err != nil || len(files) == 0 {
		t.Fatalf("no files: %v", err)
	}
	for _, path := range files {
		t.Run(strings.TrimSuffix(filepath.Base(path), ".csv"), func(t *testing.T) {
			err := readFile(path)
			var e *Error
			if !errors.As(err, &e) {
				t.Fatalf("got %v", err)
			}
			golden := strings.TrimSuffix(path, "csv") + "golden"
			if *update {
				if err := os.WriteFile(golden, []byte(err.Error()+"\n"), 0o644); err != nil {
					t.Fatal(err)
				}
			}
			want, ferr := os.ReadFile(golden)
			if ferr != nil {
				t.Fatal(ferr)
			}
			if err.Error()+"\n" != string(want) {
				t.Errorf("got  %v\nwant %s", err, want)
			}
		})
	}
}

// readFile reads a trace to its end.
func readFile(path string) error {
	r, err := Open(path, 0)
	if err != nil {
		return err
	}
	defer r.Close()
	_, _, err = all(r)
	return err
}

func TestOpenSaysWhichFileIsNotThere(t *testing.T) {
	if err := readFile("testdata/none.csv"); !errors.Is(err, fs.ErrNotExist) || !strings.Contains(err.Error(), "testdata/none.csv") {
		t.Error(err)
	}
}

func TestTooLongALineIsNotKept(t *testing.T) {
	_, _, err := readString("time,cycles\n1," + strings.Repeat("1", maxLine) + "\n")
	want := "cannot read trace t.csv:2: the line is too long; expected at most 65536 bytes, such as 1767225600.01,612.4,905.2,17"
	if err == nil || err.Error() != want {
		t.Errorf("got  %v\nwant %s", err, want)
	}
}

// A fault's text is short and printable whatever the file holds.
func TestFaultsStayShortAndPrintable(t *testing.T) {
	odd := strings.Repeat("\x1b[31m\xff", 3000)
	for _, text := range []string{"time," + odd, "time,inlet_pressure[" + odd + "]", "time,cycles\n" + odd + ",1", "time,cycles\n1," + odd} {
		_, _, err := readString(text + "\n")
		if err == nil || len(err.Error()) > 700 || strings.Contains(err.Error(), "\x1b") || !utf8.ValidString(err.Error()) {
			t.Errorf("got %v", err)
		}
	}
}

func zipped(text string) []byte {
	var buf bytes.Buffer
	z := gzip.NewWriter(&buf)
	io.WriteString(z, text)
	z.Close()
	return buf.Bytes()
}

func TestCutOffGzipIsAFault(t *testing.T) {
	var text strings.Builder
	text.WriteString("time,cycles\n")
	for i := range 5000 {
		fmt.Fprintf(&text, "%d,%d\n", i, i*i)
	}
	whole := zipped(text.String())
	for _, n := range []int{2, 12, len(whole) / 2, len(whole) - 1} {
		r, err := NewReader(bytes.NewReader(whole[:n]), "t.csv.gz", 0)
		if err == nil {
			_, _, err = all(r)
		}
		var e *Error
		if !errors.As(err, &e) || !errors.Is(err, io.ErrUnexpectedEOF) || !strings.Contains(err.Error(), "cut off") {
			t.Errorf("cut at %d of %d: %v", n, len(whole), err)
		}
	}
	whole[len(whole)-6] ^= 1 // in the checksum
	r, err := NewReader(bytes.NewReader(whole), "t.csv.gz", 0)
	if err != nil {
		t.Fatal(err)
	}
	if _, _, err := all(r); !errors.Is(err, gzip.ErrChecksum) {
		t.Errorf("broken: %v", err)
	}
}

func TestFailingFileIsNoEnd(t *testing.T) {
	bad := errors.New("disk gone")
	r, err := NewReader(io.MultiReader(strings.NewReader("time,cycles\n1,1\n"), iotest.ErrReader(bad)), "t.csv", 0)
	if err != nil {
		t.Fatal(err)
	}
	if _, _, err := all(r); !errors.Is(err, bad) {
		t.Error(err)
	}
}

// Small reads, gzip, CRLF and a byte order mark change nothing.
func TestSameRowsInOtherWrappings(t *testing.T) {
	text := "time,cycles\n1.5,1\n2,2\n"
	for name, src := range map[string]io.Reader{
		"plain":         strings.NewReader(text),
		"byte by byte":  iotest.OneByteReader(strings.NewReader(text)),
		"gzip":          bytes.NewReader(zipped(text)),
		"gzip and mark": bytes.NewReader(zipped("\ufeff" + text)),
		"two gzips":     bytes.NewReader(append(zipped(text[:14]), zipped(text[14:])...)),
		"CRLF":          strings.NewReader(strings.ReplaceAll(text, "\n", "\r\n")),
		"no last end":   strings.NewReader(strings.TrimSuffix(text, "\n")),
		"quotes":        strings.NewReader("\"time\",\"cycles\"\n\"1.5\",\"1\"\n2,\"2\"\n"),
		"blanks":        strings.NewReader("\n time , cycles \n\n 1.5 , 1 \n2,\t2\t\n\n"),
	} {
		r, err := NewReader(src, name, 0)
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		ts, vs, err := all(r)
		if at, v := ts[station.Cycles], vs[station.Cycles]; err != nil || len(v) != 2 || at[0] != 15e8 || at[1] != 2e9 || v[0] != 1 || v[1] != 2 {
			t.Errorf("%s: %v %v %v", name, at, v, err)
		}
	}
}
