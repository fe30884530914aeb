// Package trail keeps what people and scripts asked of the program, each line bound to the one
// before it: who takes a line out, or changes one, breaks the chain behind it.
package trail

import (
	"bufio"
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"sync"
	"time"
)

// Entry is something that was asked, and what became of it.
type Entry struct {
	N       int64     `json:"n"` // 1, 2, 3, ...
	At      time.Time `json:"at"`
	Who     string    `json:"who"`
	By      string    `json:"by,omitempty"`   // how we know: login, token, proxy; "": by the name that was written
	From    string    `json:"from,omitempty"` // address
	What    string    `json:"what"`
	Target  string    `json:"target,omitempty"`
	Detail  string    `json:"detail,omitempty"`
	Outcome string    `json:"outcome"`
	Prev    string    `json:"prev"` // digest of the line before, hexadecimal; of the first: 64 zeros
}

// mostLine bounds a line, bytes: the longest command with every character escaped, and its frame.
const mostLine = 64 << 10

var first = strings.Repeat("0", 2*sha256.Size)

// Head is the newest line of a trail. Whoever has noted it elsewhere can tell later whether the trail
// up to there is still what it was.
type Head struct {
	N    int64
	Hash string
}

// String returns the head as ParseHead reads it.
func (h Head) String() string { return fmt.Sprintf("%d:%s", h.N, h.Hash) }

// ParseHead reads "n:hash".
func ParseHead(text string) (h Head, err error) {
	if n, err := fmt.Sscanf(text, "%d:%64s", &h.N, &h.Hash); err != nil || n != 2 || len(h.Hash) != len(first) {
		return Head{}, fmt.Errorf("head is %.90q: expected number and digest of a line, as strokewise audit verify prints them", text)
	}
	return h, nil
}

// Trail is a trail that grows.
type Trail struct {
	mu    sync.Mutex
	file  *os.File
	out   io.Writer // the file; tests break it
	end   int64     // of the newest whole line
	torn  bool      // something that is no line may stand behind end
	head  Head
	fault error
	grown []chan struct{}
}

// Open opens a trail, or begins one. A line that a crash left unfinished is cut off, and a line says so.
func Open(path string, now time.Time) (*Trail, error) {
	f, err := os.OpenFile(path, os.O_CREATE|os.O_RDWR, 0o600)
	if err != nil {
		return nil, fmt.Errorf("cannot open the audit trail: %w", err)
	}
	t := &Trail{file: f, out: f}
	whole, torn, err := t.last()
	t.end = whole
	if err == nil {
		_, err = f.Seek(whole, io.SeekStart)
	}
	if err == nil && torn > 0 {
		if err = t.cut(); err == nil {
			err = t.Append(Entry{At: now, Who: "strokewise", What: "trail mended", Detail: fmt.Sprintf("%d bytes of a line that a crash left unfinished were cut off", torn), Outcome: "done"})
		}
	}
	if err != nil {
		f.Close()
		return nil, fmt.Errorf("cannot open the audit trail: %w", err)
	}
	return t, nil
}

// last finds the newest whole line, and how many bytes stand behind it.
func (t *Trail) last() (whole, torn int64, err error) {
	info, err := t.file.Stat()
	if err != nil {
		return 0, 0, err
	}
	from := max(info.Size()-2*mostLine, 0)
	tail, err := io.ReadAll(io.NewSectionReader(t.file, from, info.Size()-from))
	if err != nil {
		return 0, 0, err
	}
	end := bytes.LastIndexByte(tail, '\n') + 1
	t.head = Head{0, first}
	if end == 0 {
		return from, int64(len(tail)), nil
	}
	line := tail[bytes.LastIndexByte(tail[:end-1], '\n')+1 : end-1]
	var e Entry
	if err := json.Unmarshal(line, &e); err != nil {
		return 0, 0, fmt.Errorf("its last line cannot be read: %w; strokewise audit verify says where it breaks; move the file away to begin another one", err)
	}
	t.head = Head{e.N, digest(line)}
	return from + int64(end), int64(len(tail) - end), nil
}

func digest(line []byte) string {
	sum := sha256.Sum256(line)
	return hex.EncodeToString(sum[:])
}

// Append adds an entry, whose number and binding it sets, and waits until it is on disk.
func (t *Trail) Append(e Entry) error {
	t.mu.Lock()
	defer t.mu.Unlock()
	e.N, e.Prev, e.At = t.head.N+1, t.head.Hash, e.At.UTC()
	line, err := json.Marshal(e)
	if err == nil && len(line) >= mostLine {
		err = errors.New("the entry is too long")
	}
	if err == nil && t.torn {
		err = t.cut()
	}
	if err == nil {
		err = t.write(append(line, '\n'))
	}
	if t.fault = err; err != nil {
		return fmt.Errorf("cannot write the audit trail: %w", err)
	}
	t.head = Head{e.N, digest(line)}
	for _, c := range t.grown {
		select {
		case c <- struct{}{}:
		default: // whoever waits is woken already
		}
	}
	return nil
}

// write appends a line. One of which a full disk took a part is cut off, now or before the next one:
// the chain goes on behind the newest whole line.
func (t *Trail) write(line []byte) error {
	_, err := t.out.Write(line)
	if err == nil {
		err = t.file.Sync()
	}
	if err != nil {
		t.torn = true
		return errors.Join(err, t.cut())
	}
	t.end += int64(len(line))
	return nil
}

// cut removes what stands behind the newest whole line.
func (t *Trail) cut() error {
	err := t.file.Truncate(t.end)
	if err == nil {
		_, err = t.file.Seek(t.end, io.SeekStart)
	}
	t.torn = err != nil
	return err
}

// watch returns a channel that holds something whenever the trail has grown.
func (t *Trail) watch() <-chan struct{} {
	t.mu.Lock()
	defer t.mu.Unlock()
	c := make(chan struct{}, 1)
	t.grown = append(t.grown, c)
	return c
}

// Path returns where the trail's file is.
func (t *Trail) Path() string { return t.file.Name() }

// Head returns the newest line's number and digest.
func (t *Trail) Head() Head {
	t.mu.Lock()
	defer t.mu.Unlock()
	return t.head
}

// Fault returns why the newest entry could not be written.
func (t *Trail) Fault() error {
	t.mu.Lock()
	defer t.mu.Unlock()
	return t.fault
}

// Close closes the trail.
func (t *Trail) Close() error { return t.file.Close() }

// Broken says at which line a trail is not what was written.
type Broken struct {
	Line int64
	Why  string
}

// Error returns line and reason.
func (b *Broken) Error() string { return fmt.Sprintf("line %d: %s", b.Line, b.Why) }

// Walk reads a trail from its beginning, checks each line against the one before, and hands the
// entries to each. It returns the head. A *Broken says where the chain breaks. noted is a head that
// was noted earlier and must still stand there; zero: none.
func Walk(r io.Reader, noted Head, each func(*Entry) error) (Head, error) {
	head := Head{0, first}
	s := bufio.NewScanner(r)
	s.Buffer(make([]byte, 4096), mostLine+1)
	s.Split(wholeLines)
	for s.Scan() {
		var e Entry
		line := s.Bytes()
		if err := json.Unmarshal(line, &e); err != nil {
			return head, &Broken{head.N + 1, "is no entry"}
		}
		switch {
		case e.N != head.N+1:
			return head, &Broken{head.N + 1, fmt.Sprintf("is entry %d: entries are missing, or stand twice", e.N)}
		case e.Prev != head.Hash:
			return head, &Broken{head.N + 1, "does not fit the line before it: one of the two was changed"}
		}
		head = Head{e.N, digest(line)}
		if noted.N == head.N && noted.Hash != head.Hash {
			return head, &Broken{head.N, "is not the line that was noted: the trail was written anew"}
		}
		if err := each(&e); err != nil {
			return head, err
		}
	}
	if err := s.Err(); err != nil {
		return head, &Broken{head.N + 1, err.Error()}
	}
	if noted.N > head.N {
		return head, &Broken{head.N + 1, fmt.Sprintf("is missing, and so is all up to entry %d, which was noted", noted.N)}
	}
	return head, nil
}

var errTorn = errors.New("is not finished: a crash, or somebody, cut it off")

// wholeLines splits at line ends, and does not take a last line without one.
func wholeLines(data []byte, atEOF bool) (int, []byte, error) {
	if i := bytes.IndexByte(data, '\n'); i >= 0 {
		return i + 1, data[:i], nil
	}
	if atEOF && len(data) > 0 {
		return 0, nil, errTorn
	}
	return 0, nil, nil
}
