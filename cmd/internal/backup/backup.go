// Package backup copies a history while it is being written, and restores it. The sample
// log is not copied: how a restored history goes on without it is decided at the next
// start, see DEVELOPERS.md.
package backup

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"time"

	"strokewise/analyzer/station"
	"strokewise/dashboards/history"
)

// The files of a backup, in a folder or in an archive.
const (
	manifestName = "backup.json"
	historyName  = "history.db"
)

// format is the version of the manifest.
const format = 1

// Manifest describes a backup.
type Manifest struct {
	Format    int                        `json:"format"`
	Program   string                     `json:"program"` // version of the program that made it
	Made      time.Time                  `json:"made"`
	Schema    int                        `json:"schema"`
	Stations  int                        `json:"stations"`
	Bytes     int64                      `json:"bytes"`  // of the history
	SHA256    string                     `json:"sha256"` // of the history
	Positions [station.Partitions]uint64 `json:"positions"`
}

// Write makes a backup of the data folder, which may be in use: a folder, or an archive if
// out ends in .tar.gz or .tgz. What is there already is not overwritten, and out appears
// only when it is whole.
func Write(ctx context.Context, data, out, program string) (Manifest, error) {
	var m Manifest
	if _, err := os.Lstat(out); err == nil {
		return m, fmt.Errorf("cannot write backup %q: it is there already; name a new one", out)
	}
	work, err := os.MkdirTemp(filepath.Dir(filepath.Clean(out)), ".strokewise-backup-*")
	if err != nil {
		return m, fmt.Errorf("cannot write backup %q: %w", out, err)
	}
	defer os.RemoveAll(work)
	if m, err = gather(ctx, data, work, program); err != nil {
		return m, err
	}
	done := work
	if isArchive(out) {
		done = filepath.Join(work, "archive")
		if err := pack(ctx, work, done); err != nil {
			return m, fmt.Errorf("cannot write backup %q: %w", out, err)
		}
	}
	if err := os.Rename(done, out); err != nil {
		return m, fmt.Errorf("cannot write backup %q: %w", out, err)
	}
	return m, syncDir(filepath.Dir(filepath.Clean(out)))
}

func isArchive(path string) bool {
	return strings.HasSuffix(path, ".tar.gz") || strings.HasSuffix(path, ".tgz")
}

// gather copies the history into a folder and describes it.
func gather(ctx context.Context, data, into, program string) (Manifest, error) {
	m := Manifest{Format: format, Program: program, Made: time.Now().UTC()}
	db := filepath.Join(into, historyName)
	c, err := history.Copy(ctx, filepath.Join(data, historyName), db)
	if err != nil {
		return m, err
	}
	m.Schema, m.Positions, m.Stations = c.Schema, c.Positions, c.Stations
	if m.Bytes, m.SHA256, err = digest(ctx, db); err != nil {
		return m, err
	}
	text, err := json.MarshalIndent(&m, "", "  ")
	if err != nil {
		return m, err
	}
	return m, errors.Join(os.Chmod(db, 0o600), writeFile(filepath.Join(into, manifestName), append(text, '\n')))
}

// digest gives a file's size and SHA-256.
func digest(ctx context.Context, path string) (int64, string, error) {
	f, err := os.Open(path)
	if err != nil {
		return 0, "", err
	}
	defer f.Close()
	h := sha256.New()
	n, err := io.Copy(h, reader{ctx, f})
	return n, hex.EncodeToString(h.Sum(nil)), err
}

// reader ends with its context.
type reader struct {
	ctx context.Context
	io.Reader
}

func (r reader) Read(p []byte) (int, error) {
	if err := r.ctx.Err(); err != nil {
		return 0, err
	}
	return r.Reader.Read(p)
}

func writeFile(path string, data []byte) error {
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return err
	}
	_, err = f.Write(data)
	return errors.Join(err, f.Sync(), f.Close())
}

// syncDir makes the names in a folder last.
func syncDir(dir string) error {
	f, err := os.Open(dir)
	if err != nil {
		return err
	}
	defer f.Close()
	return f.Sync()
}
