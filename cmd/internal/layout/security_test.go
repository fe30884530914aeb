package layout

import (
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

var (
	testName = regexp.MustCompile("`((?:Test|Fuzz)[A-Za-z0-9_]+)`")
	testFunc = regexp.MustCompile(`(?m)^func ((?:Test|Fuzz)[A-Za-z0-9_]+)\(`)
)

// Every test that SECURITY.md names as a proof exists.
func TestProofsOfSecurityExist(t *testing.T) {
	there := map[string]bool{}
	err := filepath.WalkDir(root, func(path string, _ os.DirEntry, err error) error {
		if err != nil || !strings.HasSuffix(path, "_test.go") {
			return err
		}
		text, err := os.ReadFile(path)
		for _, m := range testFunc.FindAllSubmatch(text, -1) {
			there[string(m[1])] = true
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	text, err := os.ReadFile(filepath.Join(root, "SECURITY.md"))
	if err != nil {
		t.Fatal(err)
	}
	names := testName.FindAllSubmatch(text, -1)
	if len(names) == 0 {
		t.Error("SECURITY.md names no test")
	}
	for _, m := range names {
		if !there[string(m[1])] {
			t.Errorf("SECURITY.md names %s, which does not exist", m[1])
		}
	}
}
