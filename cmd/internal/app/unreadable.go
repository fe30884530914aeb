package app

import (
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"time"

	"strokewise/cmd/internal/health"
	"strokewise/collector/samplelog"
)

// Bounds of what is kept of unreadable entries: 24 MiB at most.
const (
	unreadableMost  = 256      // newest entries
	unreadableBytes = 64 << 10 // of one's content
)

// unreadable keeps entries of the log that were passed because they cannot be read, for whoever has
// to find out where they come from. What is kept is a file each, the oldest make room.
type unreadable struct {
	dir  string
	part *health.Part
	log  *slog.Logger

	mu    sync.Mutex
	count int64
	quiet quiet
}

// unreadableFile is the content of such a file.
type unreadableFile struct {
	Position  uint64              `json:"position"`
	Partition int                 `json:"partition"`
	Noticed   time.Time           `json:"noticed"`
	Why       string              `json:"why"`
	Header    map[string][]string `json:"header"`
	Bytes     int                 `json:"bytes"`
	Begins    string              `json:"begins"`  // first bytes as text
	Content   string              `json:"content"` // base64, cut where the entry is long
	Cut       bool                `json:"cut"`
}

func newUnreadable(dir string, part *health.Part, log *slog.Logger) *unreadable {
	return &unreadable{dir: dir, part: part, log: log}
}

// keep keeps an entry, and says that there are some. What cannot be kept is counted all the same.
func (u *unreadable) keep(e samplelog.Unreadable) {
	u.mu.Lock()
	defer u.mu.Unlock()
	u.count++
	u.part.Doubtful("%d entries of the sample log could not be read since the start and were passed; the newest at position %d of partition %d: %s; they are kept in %s", u.count, e.Position, e.Partition, e.Why, u.dir)
	err := u.write(&e)
	if err == nil {
		err = u.prune()
	}
	if u.quiet.due(time.Now()) {
		u.log.Error("an entry of the sample log cannot be read: it is none of this program's, or damaged. It is passed, and kept for a report", "position", e.Position, "partition", e.Partition, "why", e.Why,
			"folder", u.dir, "so_far", u.count, "keeping_failed", err)
	}
}

// write writes the file of an entry, if there is none yet.
func (u *unreadable) write(e *samplelog.Unreadable) error {
	if err := os.MkdirAll(u.dir, 0o700); err != nil {
		return err
	}
	path := filepath.Join(u.dir, fmt.Sprintf("%020d-%d.json", e.Position, e.Partition))
	if _, err := os.Stat(path); !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	data := e.Data[:min(len(e.Data), unreadableBytes)]
	text, err := json.MarshalIndent(unreadableFile{Position: e.Position, Partition: e.Partition, Noticed: time.Now().UTC(), Why: e.Why, Header: bounded(e.Header), Bytes: len(e.Data),
		Begins: fmt.Sprintf("%.64q", data[:min(len(data), 64)]), Content: base64.StdEncoding.EncodeToString(data), Cut: len(data) < len(e.Data)}, "", "  ")
	if err != nil {
		return err
	}
	if err := os.WriteFile(path+".new", append(text, '\n'), 0o600); err != nil {
		return err
	}
	return os.Rename(path+".new", path)
}

// bounded returns the beginning of a header, which whoever sent it has made as long as they liked.
func bounded(h map[string][]string) map[string][]string {
	out := map[string][]string{}
	for name, values := range h {
		if len(out) == 16 {
			break
		}
		text := strings.Join(values, ", ")
		out[name[:min(len(name), 64)]] = []string{text[:min(len(text), 256)]}
	}
	return out
}

// prune removes the oldest files beyond what is kept. Names sort by position.
func (u *unreadable) prune() error {
	list, err := os.ReadDir(u.dir)
	if err != nil || len(list) <= unreadableMost {
		return err
	}
	names := make([]string, len(list))
	for i, f := range list {
		names[i] = f.Name()
	}
	slices.Sort(names)
	var errs []error
	for _, n := range names[:len(names)-unreadableMost] {
		errs = append(errs, os.Remove(filepath.Join(u.dir, n)))
	}
	return errors.Join(errs...)
}
