package monitoring

import (
	"bytes"
	"os"
	"path/filepath"
	"testing"
)

// What is made from the tables is what the tree holds.
func TestFilesAreAsMade(t *testing.T) {
	files, err := Files()
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range files {
		have, err := os.ReadFile(filepath.Join("..", "..", "..", filepath.FromSlash(f.Path)))
		if err != nil {
			t.Error(err)
			continue
		}
		if !bytes.Equal(have, f.Text) {
			t.Errorf("%s is not what its tables make: make monitoring", f.Path)
		}
	}
}
