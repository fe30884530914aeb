package trail

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"errors"
	"io"
	"os"
	"strconv"
	"strings"
	"time"
)

// lastLine returns the last of some lines, each of which ends.
func lastLine(lines []byte) ([]byte, bool) {
	if !bytes.HasSuffix(lines, []byte("\n")) {
		return nil, false
	}
	lines = lines[:len(lines)-1]
	return lines[bytes.LastIndexByte(lines, '\n')+1:], true
}

// Page returns at most so many entries of a trail before a place in its file, the newest first, and
// the place before them: 0 where there are none. before 0 is the trail's end. It reads no more than a
// long line beside them.
func Page(path string, before int64, most int) (list []Entry, next int64, err error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, 0, err
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return nil, 0, err
	}
	if before <= 0 || before > info.Size() {
		before = info.Size()
	}
	from := max(before-int64(most)*1024-mostLine, 0)
	text, err := io.ReadAll(io.NewSectionReader(f, from, before-from))
	if err != nil {
		return nil, 0, err
	}
	text = text[:bytes.LastIndexByte(text, '\n')+1] // what is being written is not there yet
	for len(text) > 0 && len(list) < most {
		line, _ := lastLine(text)
		at := len(text) - len(line) - 1
		if at == 0 && from > 0 {
			break // it may begin before
		}
		var e Entry
		if json.Unmarshal(line, &e) != nil {
			e = Entry{What: "a line that is no entry: strokewise audit verify", Outcome: "unreadable"}
		}
		list, text = append(list, e), text[:at]
	}
	return list, from + int64(len(text)), nil
}

// WriteCSV writes a trail as CSV, and returns whether its chain is whole, as Walk does. stop is asked
// between entries.
func WriteCSV(to io.Writer, from io.Reader, stop func() error) (Head, error) {
	w := csv.NewWriter(to)
	if err := w.Write([]string{"n", "at", "who", "known by", "from", "what", "target", "detail", "outcome"}); err != nil {
		return Head{}, err
	}
	head, err := Walk(from, Head{}, func(x *Entry) error {
		if err := stop(); err != nil {
			return err
		}
		return w.Write([]string{strconv.FormatInt(x.N, 10), x.At.Format(time.RFC3339Nano), Cell(x.Who), Cell(x.By), Cell(x.From), Cell(x.What), Cell(x.Target), Cell(x.Detail), Cell(x.Outcome)})
	})
	w.Flush()
	return head, errors.Join(err, w.Error())
}

// Cell returns a text that no spreadsheet takes for a formula.
func Cell(text string) string {
	if text != "" && strings.ContainsRune("=+-@\t\r\n\x00＝＋－＠", []rune(text)[0]) {
		return "'" + text
	}
	return text
}
