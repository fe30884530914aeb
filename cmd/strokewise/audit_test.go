package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"strokewise/cmd/internal/app"
	"strokewise/dashboards/trail"
)

func TestAuditVerifyAndExport(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, app.TrailFile)
	tr, err := trail.Open(path, time.Now())
	if err != nil {
		t.Fatal(err)
	}
	for _, who := range []string{"ana", "=1+1"} {
		if err := tr.Append(trail.Entry{At: time.Now(), Who: who, What: "note", Outcome: "done"}); err != nil {
			t.Fatal(err)
		}
	}
	head := tr.Head().String()
	if err := tr.Close(); err != nil {
		t.Fatal(err)
	}
	run := func(args ...string) (int, string) {
		var out strings.Builder
		code := executeIn(t.Context(), nil, append(args, "--data", dir), &out, &out)
		return code, out.String()
	}
	if code, out := run("audit", "verify", "--head", head); code != exitOK || !strings.Contains(out, "2 entries, none changed or taken out; head "+head) {
		t.Errorf("%d %s", code, out)
	}
	if code, out := run("audit", "export"); code != exitOK || strings.Count(out, "\n") != 3 || !strings.Contains(out, ",'=1+1,") {
		t.Errorf("%d %s", code, out)
	}
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, []byte(strings.Replace(string(data), "ana", "eve", 1)), 0o600); err != nil {
		t.Fatal(err)
	}
	if code, out := run("audit", "verify"); code != exitFault || !strings.Contains(out, "line 2: does not fit the line before it") {
		t.Errorf("%d %s", code, out)
	}
}
