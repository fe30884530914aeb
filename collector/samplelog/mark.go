package samplelog

import (
	"errors"
	"fmt"
	"hash/crc32"
	"io/fs"
	"log/slog"
	"os"
	"path/filepath"
	"sync"
	"time"
)

// markName is a small file beside the stream. It holds the newest position that was accepted. The
// server's own files do not keep it: after a kill the server reads its newest file up to the first
// damaged record, and gives out the positions behind it a second time.
const markName = "accepted"

// mark is the content of that file.
type mark struct {
	ID       string    // of the log that the position counts in
	Position uint64    // newest accepted
	Early    time.Time // up to when entries were dropped before their time, see Shortened; zero: none were
}

// markFormat is one line of fixed width, so that each writing replaces the last one as a whole.
const markFormat = "%-26s %020d %020d"

func (m *mark) line() []byte {
	var early int64
	if !m.Early.IsZero() {
		early = m.Early.UnixNano()
	}
	b := fmt.Appendf(make([]byte, 0, 96), markFormat, m.ID, m.Position, early)
	return fmt.Appendf(b, " %08x\n", crc32.ChecksumIEEE(b))
}

// parseMark parses the file's content.
func parseMark(b []byte) (m mark, err error) {
	var early int64
	if _, err := fmt.Sscanf(string(b), "%s %d %d", &m.ID, &m.Position, &early); err != nil {
		return mark{}, fmt.Errorf("it is no line of an identity and two numbers: %w", err)
	}
	if early != 0 {
		m.Early = time.Unix(0, early)
	}
	if string(m.line()) != string(b) {
		return mark{}, errors.New("its checksum does not match")
	}
	return m, nil
}

// marker keeps the file. Without a file it keeps the position for this process only.
type marker struct {
	mu   sync.Mutex
	file *os.File
	mark mark
	bad  bool // writing fails, and that was said
	log  *slog.Logger
}

// openMarker reads the file of a folder, and makes it where there is none. A file that cannot be
// used is as good as none: a loss is then noticed later, or by the history's positions.
func openMarker(dir string, log *slog.Logger) *marker {
	k := &marker{log: log}
	path := filepath.Join(dir, markName)
	b, err := os.ReadFile(path)
	if err == nil && len(b) > 0 {
		k.mark, err = parseMark(b)
	}
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		log.Warn("cannot read the file that holds the newest accepted position; it is written anew", slog.String("file", path), slog.Any("error", err))
	}
	if k.file, err = os.OpenFile(path, os.O_WRONLY|os.O_CREATE, 0o600); err != nil {
		k.failed(err)
	}
	return k
}

// belongs forgets what was noted of another log.
func (k *marker) belongs(id string) {
	k.mu.Lock()
	defer k.mu.Unlock()
	if k.mark.ID != id {
		k.mark = mark{ID: id}
	}
}

// renamed notes that the log has another identity, with the same positions.
func (k *marker) renamed(id string) {
	k.mu.Lock()
	defer k.mu.Unlock()
	k.mark.ID = id
	k.write()
}

// accepted notes a position.
func (k *marker) accepted(position uint64) {
	k.mu.Lock()
	defer k.mu.Unlock()
	if position > k.mark.Position {
		k.mark.Position = position
		k.write()
	}
}

// newest returns the newest accepted position.
func (k *marker) newest() uint64 {
	k.mu.Lock()
	defer k.mu.Unlock()
	return k.mark.Position
}

// write replaces the line. After a power cut the file may be older than the stream, which is
// harmless: the higher position counts.
func (k *marker) write() {
	if k.file == nil {
		return
	}
	if _, err := k.file.WriteAt(k.mark.line(), 0); err != nil {
		k.failed(err)
		return
	}
	k.bad = false
}

func (k *marker) failed(err error) {
	if !k.bad {
		k.log.Warn("cannot write down the newest accepted position; entries that damaged files lose may go unnoticed", slog.Any("error", err))
	}
	k.bad = true
}

func (k *marker) close() {
	if k != nil && k.file != nil {
		k.file.Close()
	}
}

// Shorten notes that entries up to a time were dropped although they were to be kept longer.
func (j *JetStream) Shorten(upTo time.Time) {
	k := j.mark
	k.mu.Lock()
	defer k.mu.Unlock()
	if upTo.After(k.mark.Early) {
		k.mark.Early = upTo
		k.write()
	}
}

// Shortened returns the time up to which entries were dropped although they were to be kept longer,
// also before this start; zero where none were.
func (j *JetStream) Shortened() time.Time {
	k := j.mark
	k.mu.Lock()
	defer k.mu.Unlock()
	return k.mark.Early
}
