package main

import (
	"os/exec"
	"strings"
	"testing"
)

// The manual page names every command and flag of the command line with its help.
func TestManualHasEveryCommandAndFlag(t *testing.T) {
	code, page, errOut := call("man")
	if code != 0 {
		t.Fatal(errOut)
	}
	p, err := parser(&commands{}, nil, nil, nil)
	if err != nil {
		t.Fatal(err)
	}
	checked := 0
	for _, leaf := range p.Model.Leaves(true) {
		if !strings.Contains(page, roff(leaf.Help)) {
			t.Errorf("no help of %s", leaf.Path())
		}
		for _, flags := range leaf.AllFlags(true) {
			for _, f := range flags {
				checked++
				if !strings.Contains(page, roff(f.String())) || !strings.Contains(page, roff(f.Help)) {
					t.Errorf("%s: no --%s", leaf.Path(), f.Name)
				}
			}
		}
	}
	if checked < 50 {
		t.Errorf("only %d flags found", checked)
	}
}

// groff finds nothing to warn of in the page.
func TestManualIsWellFormed(t *testing.T) {
	groff, err := exec.LookPath("groff")
	if err != nil {
		t.Skip("groff is not installed")
	}
	_, page, _ := call("man")
	cmd := exec.Command(groff, "-man", "-Tutf8", "-ww", "-z")
	cmd.Stdin = strings.NewReader(page)
	if out, err := cmd.CombinedOutput(); err != nil || len(out) > 0 {
		t.Errorf("%v: %s", err, out)
	}
}

// What bash offers behind a command line, its last word unfinished.
func TestCompletion(t *testing.T) {
	bash, err := exec.LookPath("bash")
	if err != nil {
		t.Skip("bash is not installed")
	}
	_, script, _ := call("completion")
	for _, c := range []struct{ line, want string }{
		{"strokewise repl", "replay"},
		{"strokewise alarm shel", "shelve"},
		{"strokewise run --conf", "--config"},
		{"strokewise --log-format=text run --log-le", "--log-level"},
		{"strokewise run --log-format j", "json"},
		{"strokewise user add --ro", "--role"},
	} {
		try := script + "\nCOMP_WORDS=(" + c.line + "); COMP_CWORD=$((${#COMP_WORDS[@]}-1)); _strokewise; echo \"${COMPREPLY[*]}\""
		out, err := exec.Command(bash, "--norc", "-c", try).CombinedOutput()
		if got := strings.TrimSpace(string(out)); err != nil || got != c.want {
			t.Errorf("%s: %q, %v, want %q", c.line, got, err, c.want)
		}
	}
}
