package config

import (
	"bytes"
	"fmt"
	"io"
	"os"
)

// Bounds of files beside the configuration, and of what a YAML file may hold.
const (
	MaxText   = 1 << 20   // bytes of a list of alarms, a file of rule scripts, a password, a certificate
	maxPieces = 1_000_000 // lines and list items of a file; 20,000 stations with all their data have half of it
)

// ReadText reads a file that is small by its nature; a larger one, or one without end, is refused.
func ReadText(path string) ([]byte, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	data, err := io.ReadAll(io.LimitReader(f, MaxText+1))
	if err != nil {
		return nil, err
	}
	if len(data) > MaxText {
		return nil, fmt.Errorf("%s is larger than %d bytes", path, MaxText)
	}
	return data, nil
}

// pieces counts what may become a node of its own in the tree that YAML is parsed into, each of
// which takes some 200 bytes.
func pieces(data []byte) (n int) {
	for _, c := range []string{"\n", ",", "[", "{"} {
		n += bytes.Count(data, []byte(c))
	}
	return n
}
