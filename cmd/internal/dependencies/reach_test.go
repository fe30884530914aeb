package dependencies

import (
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// A database that is not there is named with what to do; one that is, at an address or as a copy, is none of a fault.
func TestReach(t *testing.T) {
	s := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.URL.Path != "/v1/index/db.json" {
			http.NotFound(w, r)
		}
	}))
	defer s.Close()
	dir := t.TempDir()
	if err := os.MkdirAll(filepath.Join(dir, "index"), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, "index", "db.json"), []byte("{}"), 0o644); err != nil {
		t.Fatal(err)
	}
	for at, says := range map[string]string{s.URL + "/v1": "", s.URL: "404", "http://127.0.0.1:1": "refused", "file://" + filepath.ToSlash(dir): "", "file:///nowhere": "no such file", "ftp://x": "unsupported"} {
		err := Reach(t.Context(), at)
		if says == "" && err != nil || says != "" && (err == nil || !strings.Contains(err.Error(), says) || !strings.Contains(err.Error(), "nothing was checked") || !strings.Contains(err.Error(), "VULNDB=")) {
			t.Errorf("%s: %v, want %q", at, err, says)
		}
	}
}
