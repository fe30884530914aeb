package dependencies

import (
	"encoding/json"
	"os"
	"strings"
	"testing"
)

const document = "../../../SECURITY.md"

// The table of the document has every module that the program is built of, in its version and with
// its licence. Newest releases are as of the day on which the table was made.
func TestTheTableIsOfThisProgram(t *testing.T) {
	list, err := List(t.Context(), "../../..", "./cmd/strokewise", false)
	if err != nil {
		t.Fatal(err)
	}
	text, err := os.ReadFile(document)
	if err != nil {
		t.Fatal(err)
	}
	_, rest, _ := strings.Cut(string(text), Begin)
	table, _, _ := strings.Cut(rest, End)
	rows := strings.Split(strings.TrimSpace(table), "\n")[2:]
	if len(rows) != len(list) {
		t.Errorf("%d rows, %d modules: make dependencies", len(rows), len(list))
	}
	for _, m := range list {
		if begin, end := "| `"+m.Path+"` | "+m.Version+" | ", " | "+m.Licence+" |"; !strings.Contains(table, begin) || !strings.Contains(strings.SplitN(table+begin, begin, 2)[1], end) {
			t.Errorf("%s %s, %s, is not in the table: make dependencies", m.Path, m.Version, m.Licence)
		}
	}
}

// What the schema of CycloneDX 1.5 requires, and that each reference is a part's.
func TestBill(t *testing.T) {
	list := []Module{{Path: "example.org/a/v2", Version: "v2.0.0+incompatible", Licence: "MIT"}}
	out, err := CycloneDX("strokewise", "v1.2.3", "Apache-2.0", "go1.26.8", list)
	if err != nil {
		t.Fatal(err)
	}
	var b bill
	if err := json.Unmarshal(out, &b); err != nil {
		t.Fatal(err)
	}
	// package URLs as the purl specification has them for golang: the version's + is escaped or not, never a space
	if b.Format != "CycloneDX" || b.Spec != "1.5" || b.Version != 1 || len(b.Parts) != 2 || b.Parts[0].URL != "pkg:golang/std@1.26.8" ||
		b.Parts[1].URL != "pkg:golang/example.org/a/v2@v2.0.0+incompatible" || b.Parts[1].Licences[0].License.ID != "MIT" || b.Metadata.Component.Licences[0].License.ID != "Apache-2.0" {
		t.Errorf("%s", out)
	}
	if len(b.Needs) != 1 || b.Needs[0].Ref != b.Metadata.Component.Ref || len(b.Needs[0].On) != 2 || b.Needs[0].On[1] != b.Parts[1].Ref {
		t.Errorf("%+v", b.Needs)
	}
}

func TestLicences(t *testing.T) {
	for text, want := range map[string]string{
		"Apache License\n   Version 2.0, January 2004": "Apache-2.0", "Redistributions of source code must retain ... Neither the name of": "BSD-3-Clause",
		"Redistributions of source code must retain": "BSD-2-Clause", "Permission is hereby granted, free of charge, to any person": "MIT", "all rights reserved": "",
	} {
		if got := identify(text); got != want {
			t.Errorf("%q: %q, want %q", text, got, want)
		}
	}
}
