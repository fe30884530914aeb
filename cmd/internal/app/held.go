package app

import (
	"crypto/sha256"
	"encoding/json"
	"errors"
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"strings"

	"strokewise/analyzer/station"
)

// held is the record of a station in quarantine: it is kept in a file, for people and for the
// start of another version.
type held struct {
	Site      string
	Station   string
	Partition int
	Position  uint64          // of the entry of the log that was worked off
	At        station.Instant // arrival of what was worked off
	Program   string          // version
	Units     string          // version of engine and alarms, pipeline.Version
	While     string
	Panic     string
	Stack     string
	Revision  string
	Plate     station.Plate
	Record    []byte // the record of the log as an entry of its own, nil: it was none

	Snapshot      []byte // of the station, at SnapshotAt; nil: there is none
	SnapshotAt    uint64
	SnapshotUnits string
}

func (h *held) key() station.Key { return station.Key{Site: h.Site, Station: h.Station} }

// evidenceFolder holds a file for each station in quarantine.
type evidenceFolder string

// Bounds of the folder. What does not fit is left out of the file; the file itself always fits.
const (
	mostSnapshot = 4 << 20  // bytes of one station
	mostEvidence = 64 << 20 // bytes of the folder beyond which files hold no samples and no state
)

const (
	heldEnds = ".json"
	overEnds = ".over" // of a station that is watched again
)

// file returns the name for a station: readable, and of a length that any file system takes.
func (d evidenceFolder) file(k station.Key) string {
	name := url.PathEscape(k.Site) + "," + url.PathEscape(k.Station)
	if len(name) > 150 {
		name = fmt.Sprintf("%.100s,%x", name, sha256.Sum256([]byte(name)))[:150]
	}
	return filepath.Join(string(d), name+heldEnds)
}

// save writes a station's file, in the place of an older one.
func (d evidenceFolder) save(h *held) (string, error) {
	path := d.file(h.key())
	if err := os.MkdirAll(string(d), 0o700); err != nil {
		return path, fmt.Errorf("cannot keep the fault of %s: %w", h.key(), err)
	}
	kept := *h
	if len(kept.Snapshot) > mostSnapshot || d.size() > mostEvidence {
		kept.Snapshot, kept.SnapshotAt, kept.SnapshotUnits = nil, 0, ""
	}
	if d.size() > mostEvidence {
		kept.Record = nil
	}
	text, err := json.MarshalIndent(&kept, "", "  ")
	if err != nil {
		return path, fmt.Errorf("cannot keep the fault of %s: %w", h.key(), err)
	}
	if err := replaceFile(path, append(text, '\n')); err != nil {
		return path, fmt.Errorf("cannot keep the fault of %s: %w", h.key(), err)
	}
	return path, nil
}

// replaceFile writes a file for its owner only; it is whole or as it was.
func replaceFile(path string, data []byte) error {
	f, err := os.CreateTemp(filepath.Dir(path), ".new-*") // for its owner only
	if err != nil {
		return err
	}
	_, err = f.Write(data)
	if err = errors.Join(err, f.Sync(), f.Close()); err == nil {
		err = os.Rename(f.Name(), path)
	}
	if err != nil {
		_ = os.Remove(f.Name())
	}
	return err
}

// size returns the bytes that the folder holds.
func (d evidenceFolder) size() (n int64) {
	list, _ := os.ReadDir(string(d))
	for _, e := range list {
		if info, err := e.Info(); err == nil {
			n += info.Size()
		}
	}
	return n
}

// load reads the records of all stations. A file that cannot be read counts as none: its station
// is tried again.
func (d evidenceFolder) load() (map[station.Key]*held, error) {
	out := make(map[station.Key]*held)
	list, err := os.ReadDir(string(d))
	if errors.Is(err, os.ErrNotExist) {
		return out, nil
	}
	var errs []error
	for _, e := range list {
		if !strings.HasSuffix(e.Name(), heldEnds) {
			continue
		}
		path, h := filepath.Join(string(d), e.Name()), &held{}
		text, err := os.ReadFile(path)
		if err == nil {
			err = json.Unmarshal(text, h)
		}
		if err != nil {
			errs = append(errs, fmt.Errorf("cannot read %q: %w; its station is tried again", path, err))
			continue
		}
		h.Plate.Key = h.key()
		out[h.key()] = h
	}
	return out, errors.Join(append(errs, err)...)
}

// over puts a station's file aside: it is watched again.
func (d evidenceFolder) over(k station.Key) error {
	path := d.file(k)
	err := os.Rename(path, strings.TrimSuffix(path, heldEnds)+overEnds)
	if errors.Is(err, os.ErrNotExist) {
		return nil
	}
	return err
}
