// Package recorded reads the recordings with truth in collector/trace/testdata/recordings:
// what the sensors of a station sent, what its owner knows of it, and what the physics model
// behind it knows. Tests and the accuracy table read them; the program does not.
package recorded

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"

	"strokewise/analyzer/station"
	"strokewise/collector/trace"
)

// Groups are the models that made the recordings, each a folder.
var Groups = []string{"first", "second"}

// Recording is one station's recording.
type Recording struct {
	Group, Name string
	Dir         string
	Plate       station.Plate
	Counter     bool
	Truth       Truth
}

// Folder returns the folder of a group's recordings. It is found from the module's root, the
// nearest folder above the working one that has a go.mod.
func Folder(group string) (string, error) {
	dir, err := os.Getwd()
	if err != nil {
		return "", fmt.Errorf("cannot find the recordings: %w", err)
	}
	for {
		if _, err := os.Stat(filepath.Join(dir, "go.mod")); err == nil {
			break
		}
		up := filepath.Dir(dir)
		if up == dir {
			return "", errors.New("cannot find the recordings: no go.mod above the working folder; run within the source tree")
		}
		dir = up
	}
	dir = filepath.Join(dir, "collector", "trace", "testdata", "recordings", group)
	if _, err := os.Stat(dir); err != nil {
		return "", fmt.Errorf("cannot find the recordings: %w", err)
	}
	return dir, nil
}

// Dirs returns the folders of a group's recordings, in order of name.
func Dirs(group string) ([]string, error) {
	dir, err := Folder(group)
	if err != nil {
		return nil, err
	}
	paths, err := filepath.Glob(filepath.Join(dir, "*", "trace.csv.gz"))
	if err == nil && len(paths) == 0 {
		err = fmt.Errorf("cannot find a recording in %s", dir)
	}
	for i := range paths {
		paths[i] = filepath.Dir(paths[i])
	}
	return paths, err
}

// All returns all recordings, group by group, in order of name.
func All() ([]Recording, error) {
	var out []Recording
	for _, g := range Groups {
		dirs, err := Dirs(g)
		if err != nil {
			return nil, err
		}
		for _, d := range dirs {
			r, err := Read(g, d)
			if err != nil {
				return nil, err
			}
			out = append(out, *r)
		}
	}
	return out, nil
}

// Read reads the recording in a folder, but for its samples.
func Read(group, dir string) (*Recording, error) {
	r := &Recording{Group: group, Name: filepath.Base(dir), Dir: dir}
	p, err := readPlate(dir)
	if err != nil {
		return nil, err
	}
	r.Plate, r.Counter = p.plate(), p.Counter != ""
	if r.Truth, err = readTruth(dir, p.Shutdown); err != nil {
		return nil, err
	}
	return r, nil
}

// Play calls yield with the samples of the recording, some hundred rows at a time, without
// those of the counter unless asked for. The blocks are valid until yield returns.
func (r *Recording) Play(counter bool, yield func([]station.Block)) error {
	t, err := trace.Open(filepath.Join(r.Dir, "trace.csv.gz"), r.Plate.Ambient)
	if err != nil {
		return err
	}
	defer t.Close()
	for {
		blocks, err := t.Next()
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return err
		}
		kept := blocks[:0]
		for _, b := range blocks {
			if counter || b.Channel != station.Cycles {
				kept = append(kept, b)
			}
		}
		yield(kept)
	}
}

// readJSON reads a file of a recording's folder.
func readJSON(dir, name string, to any) error {
	b, err := os.ReadFile(filepath.Join(dir, name))
	if err == nil {
		err = json.Unmarshal(b, to)
	}
	if err != nil {
		return fmt.Errorf("cannot read recording %s: %s: %w", filepath.Base(dir), name, err)
	}
	return nil
}
