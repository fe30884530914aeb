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
	signName     = "backup.sig" // of a signed one
)

// format is the version of the manifest.
const format = 1

// WriteOptions of a backup.
type WriteOptions struct {
	Program string // version of this program
	Key     Key    // signs the backup; nil: it is not signed
	// Progress is told how many bytes of a stage are done; total is 0 where it is not known.
	Progress func(stage string, done, total int64)
	// Unfinished is told of a file or folder that is not whole yet, and done when it is or is gone;
	// nil: nobody asks.
	Unfinished func(path string) (done func())
}

func unfinished(told func(string) func(), path string) (done func()) {
	if told == nil {
		return func() {}
	}
	return told(path)
}

func (o *WriteOptions) progress(stage string, total int64) func(int64) {
	return progressOf(o.Progress, stage, total)
}

// progressOf returns what counts the bytes of a stage.
func progressOf(told func(string, int64, int64), stage string, total int64) func(int64) {
	if told == nil {
		return nil
	}
	done := int64(0)
	return func(n int64) { done += n; told(stage, done, total) }
}

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
// With a key it is signed.
func Write(ctx context.Context, data, out string, opt WriteOptions) (Manifest, error) {
	var m Manifest
	if _, err := os.Lstat(out); err == nil {
		return m, fmt.Errorf("cannot write backup %q: it is there already; name a new one", out)
	}
	work, err := os.MkdirTemp(filepath.Dir(filepath.Clean(out)), ".strokewise-backup-*")
	if err != nil {
		return m, fmt.Errorf("cannot write backup %q: %w", out, err)
	}
	defer os.RemoveAll(work)
	defer unfinished(opt.Unfinished, work)()
	if m, err = gather(ctx, data, work, &opt); err != nil {
		return m, err
	}
	done := work
	if isArchive(out) {
		done = filepath.Join(work, "archive")
		if err := pack(ctx, work, done, &opt); err != nil {
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
func gather(ctx context.Context, data, into string, opt *WriteOptions) (Manifest, error) {
	m := Manifest{Format: format, Program: opt.Program, Made: time.Now().UTC()}
	db := filepath.Join(into, historyName)
	from := filepath.Join(data, historyName)
	stop := growing(opt, "copying", from, db)
	c, err := history.Copy(ctx, from, db)
	stop()
	if err != nil {
		return m, err
	}
	m.Schema, m.Positions, m.Stations = c.Schema, c.Positions, c.Stations
	if m.Bytes, m.SHA256, err = digest(ctx, db, opt.progress("adding up", sizeOf(db))); err != nil {
		return m, err
	}
	if err := os.Chmod(db, 0o600); err != nil {
		return m, err
	}
	text, err := json.MarshalIndent(&m, "", "  ")
	if err != nil {
		return m, err
	}
	text = append(text, '\n')
	if opt.Key != nil {
		if err := writeFile(filepath.Join(into, signName), []byte(opt.Key.sign(text)+"\n")); err != nil {
			return m, err
		}
	}
	return m, writeFile(filepath.Join(into, manifestName), text)
}

// growing reports how a file grows to the size of another one, until stop.
func growing(opt *WriteOptions, stage, from, to string) (stop func()) {
	if opt.Progress == nil {
		return func() {}
	}
	end, ended := make(chan struct{}), make(chan struct{})
	go func() {
		defer close(ended)
		t := time.NewTicker(200 * time.Millisecond)
		defer t.Stop()
		for {
			select {
			case <-end:
				return
			case <-t.C:
				opt.Progress(stage, sizeOf(to), sizeOf(from))
			}
		}
	}()
	return func() { close(end); <-ended }
}

// sizeOf returns a file's size, 0 where there is none.
func sizeOf(path string) int64 {
	info, err := os.Stat(path)
	if err != nil {
		return 0
	}
	return info.Size()
}

// digest gives a file's size and SHA-256.
func digest(ctx context.Context, path string, count func(int64)) (int64, string, error) {
	f, err := os.Open(path)
	if err != nil {
		return 0, "", err
	}
	defer f.Close()
	h := sha256.New()
	n, err := io.Copy(h, reader{ctx, f, count})
	return n, hex.EncodeToString(h.Sum(nil)), err
}

// reader ends with its context.
type reader struct {
	ctx context.Context
	io.Reader
	count func(int64) // nil: nobody counts
}

func (r reader) Read(p []byte) (int, error) {
	if err := r.ctx.Err(); err != nil {
		return 0, err
	}
	n, err := r.Reader.Read(p)
	if r.count != nil {
		r.count(int64(n))
	}
	return n, err
}

func writeFile(path string, data []byte) error {
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return err
	}
	_, err = f.Write(data)
	return errors.Join(err, f.Sync(), f.Close())
}
