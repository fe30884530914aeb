package main

import (
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// Beginnings of the texts as their authors publish them.
func TestLicencesIn(t *testing.T) {
	for text, want := range map[string][]string{
		"Apache License\n  Version 2.0, January 2004":                                                                             {"Apache-2.0"},
		"Permission is hereby granted, free of\ncharge, to any person obtaining a copy of this":                                   {"MIT"},
		"Redistribution and use in source and binary forms, with\nor without modification":                                        {"BSD-2-Clause"},
		"Redistribution and use in source and binary forms ... used to endorse or promote products derived":                       {"BSD-3-Clause"},
		"GNU GENERAL PUBLIC LICENSE Version 3, Copyright (C) 2007 Free Software Foundation, Inc.":                                 {"GPL"},
		"Eclipse Public License - v 2.0 (EPL-2.0) Redistribution and use in source and binary forms, endorse or promote products": {"BSD-3-Clause", "EPL-2.0"},
		"All rights reserved.": nil,
	} {
		if got := licencesIn(text); !slices.Equal(got, want) {
			t.Errorf("%q: %v, want %v", text, got, want)
		}
	}
}

func TestNoticeRefuses(t *testing.T) {
	for text, says := range map[string]string{
		"All rights reserved.":                                "no licence that is known",
		"GNU GENERAL PUBLIC LICENSE Free Software Foundation": "does not fit",
	} {
		dir := t.TempDir()
		if err := os.WriteFile(filepath.Join(dir, "LICENSE"), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		if err := (module{"example/module", "v1.0.0", dir}).notice(io.Discard); err == nil || !strings.Contains(err.Error(), says) {
			t.Errorf("%q: %v", text, err)
		}
	}
}

// Everything that is linked into the program has a licence that fits.
func TestTheProgramsLicencesFit(t *testing.T) {
	var b strings.Builder
	if err := run(&b, "strokewise/cmd/strokewise", []string{"linux/amd64", "windows/amd64"}); err != nil {
		t.Fatal(err)
	}
	if n := strings.Count(b.String(), "http://www.apache.org/licenses/"); n < 10 { // in the text of Apache-2.0
		t.Errorf("only %d texts of Apache-2.0", n)
	}
	if n := strings.Count(b.String(), strings.Repeat("=", 80)); n < 40 {
		t.Errorf("only %d rules, so %d modules", n, n/2)
	}
}
