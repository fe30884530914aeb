package backup

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"time"

	"strokewise/analyzer/station"
	"strokewise/collector/samplelog"
	"strokewise/dashboards/history"
)

// asidePrefix begins the names of what was moved aside within a data folder.
const asidePrefix = "replaced-"

// RestoreOptions say what a restore may do to a data folder that is not empty.
type RestoreOptions struct {
	Replace bool // move what is there aside
	KeepLog bool // but let the sample log stay: what it holds beyond the backup is worked off again
	Who     string
	Key     Key // unsigned backups, and those that another key signed, are refused; nil: none is
	// Progress is as that of WriteOptions.
	Progress func(stage string, done, total int64)
	// Unfinished is as that of WriteOptions.
	Unfinished func(path string) (done func())

	free func(folder string) (int64, error) // nil: the disk's
}

func (o *RestoreOptions) freeOf(folder string) (int64, error) {
	if o.free != nil {
		return o.free(folder)
	}
	return diskFree(folder)
}

// Restored tells what a restore did.
type Restored struct {
	Manifest
	Aside string // where the old contents are, "" where there were none
}

// Restore puts the history of a backup into a data folder that no process uses, marked as
// restored. The backup is checked before anything is changed.
func Restore(ctx context.Context, from, data string, opt RestoreOptions) (Restored, error) {
	r, err := restore(ctx, from, data, opt)
	if err != nil {
		return r, fmt.Errorf("cannot restore backup %q into %q: %w", from, data, err)
	}
	return r, nil
}

func restore(ctx context.Context, from, data string, opt RestoreOptions) (r Restored, err error) {
	old, err := contents(data)
	if err != nil {
		return r, err
	}
	if len(old) > 0 && !opt.Replace {
		return r, fmt.Errorf("the folder is not empty (it holds %s): name an empty one, or move what is there aside with --replace", strings.Join(old, ", "))
	}
	unlock, err := inUse(data)
	if err != nil {
		return r, err
	}
	defer func() { err = errors.Join(err, unlock()) }()
	if err := history.InUse(ctx, filepath.Join(data, historyName)); err != nil {
		return r, err
	}
	if err := os.MkdirAll(data, 0o700); err != nil {
		return r, err
	}
	work, err := os.MkdirTemp(data, asidePrefix+"by-restore-*")
	if err != nil {
		return r, err
	}
	defer os.RemoveAll(work)
	defer unfinished(opt.Unfinished, work)()
	if r.Manifest, err = prepare(ctx, from, work, &opt); err != nil {
		return r, err
	}
	if err := giveTo(data, filepath.Join(work, historyName)); err != nil {
		return r, err
	}
	if len(old) > 0 {
		if r.Aside, err = moveAside(data, old, opt.KeepLog); err != nil {
			return r, err
		}
	}
	if err := os.Rename(filepath.Join(work, historyName), filepath.Join(data, historyName)); err != nil {
		return r, err
	}
	return r, syncDir(data)
}

// contents lists what a data folder holds, without what earlier restores moved aside.
func contents(data string) ([]string, error) {
	entries, err := os.ReadDir(data)
	if err != nil && !errors.Is(err, os.ErrNotExist) {
		return nil, err
	}
	var out []string
	for _, e := range entries {
		if !strings.HasPrefix(e.Name(), asidePrefix) && e.Name() != "lost+found" {
			out = append(out, e.Name())
		}
	}
	return out, nil
}

// inUse keeps a running program off the folder, or fails because there is one.
func inUse(data string) (unlock func() error, err error) {
	dir := filepath.Join(data, "log")
	if _, err := os.Stat(dir); errors.Is(err, os.ErrNotExist) {
		return func() error { return nil }, nil
	}
	return samplelog.Lock(dir)
}

// prepare unpacks and checks a backup, brings it up to date and marks it.
func prepare(ctx context.Context, from, work string, opt *RestoreOptions) (Manifest, error) {
	m, err := unpack(ctx, from, work, opt)
	if err != nil {
		return m, err
	}
	path := filepath.Join(work, historyName)
	if err := history.Verify(ctx, path); err != nil {
		return m, err
	}
	if err := ctx.Err(); err != nil {
		return m, err
	}
	s, err := history.Open(path, history.Options{SyncAlways: true})
	if err != nil {
		return m, err
	}
	what := fmt.Sprintf("%s, made %s by version %s", from, m.Made.Format(time.RFC3339), m.Program)
	err = s.MarkRestored(ctx, what, history.Act{At: station.InstantOf(time.Now()), Who: opt.Who, What: "restore", Target: "history", Detail: what})
	return m, errors.Join(err, s.Close())
}

// moveAside puts the old contents into a folder of their own, within the data folder: that
// one may be a mount point, or its parent not ours.
func moveAside(data string, old []string, keepLog bool) (string, error) {
	aside := filepath.Join(data, asidePrefix+time.Now().UTC().Format("20060102T150405.000Z"))
	if err := os.Mkdir(aside, 0o700); err != nil {
		return "", err
	}
	if err := giveTo(data, aside); err != nil {
		return aside, err
	}
	for _, name := range old {
		if keepLog && name == "log" {
			continue
		}
		if err := os.Rename(filepath.Join(data, name), filepath.Join(aside, name)); err != nil {
			return aside, err
		}
	}
	return aside, nil
}
