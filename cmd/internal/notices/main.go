// Command notices prints the licence texts of all modules that a program is built from, for the files
// that are shipped with it. It fails where a licence is not known or does not fit ours.
package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"runtime"
	"slices"
	"strings"
)

func main() {
	if len(os.Args) < 3 {
		fmt.Fprintln(os.Stderr, "usage: notices PACKAGE GOOS/GOARCH...")
		os.Exit(2)
	}
	if err := run(os.Stdout, os.Args[1], os.Args[2:]); err != nil {
		fmt.Fprintln(os.Stderr, "notices:", err)
		os.Exit(1)
	}
}

// module is what a program is built from.
type module struct{ path, version, dir string }

// run prints the notices of a package over all targets, a module once.
func run(to io.Writer, pkg string, targets []string) error {
	root, err := exec.Command("go", "env", "GOROOT").Output()
	if err != nil {
		return fmt.Errorf("cannot find Go: %w", err)
	}
	modules := []module{{"Go's standard library and runtime", runtime.Version(), strings.TrimSpace(string(root))}}
	for _, target := range targets {
		more, err := modulesOf(pkg, target)
		if err != nil {
			return err
		}
		modules = append(modules, more...)
	}
	slices.SortFunc(modules[1:], func(a, b module) int { return strings.Compare(a.path, b.path) })
	modules = slices.Compact(modules)
	var errs []error
	fmt.Fprintf(to, "strokewise contains the following works of others, each under its licence.\n\n")
	for _, m := range modules {
		errs = append(errs, m.notice(to))
	}
	return errors.Join(errs...)
}

// modulesOf returns the modules of a package on a system, without our own.
func modulesOf(pkg, target string) ([]module, error) {
	system, machine, ok := strings.Cut(target, "/")
	if !ok {
		return nil, fmt.Errorf("%q is no target: linux/amd64 is one", target)
	}
	cmd := exec.Command("go", "list", "-deps", "-f", "{{with .Module}}{{if not .Main}}{{.Path}}\t{{.Version}}\t{{.Dir}}{{end}}{{end}}", pkg)
	cmd.Env = append(os.Environ(), "GOOS="+system, "GOARCH="+machine, "CGO_ENABLED=0")
	cmd.Stderr = os.Stderr
	out, err := cmd.Output()
	if err != nil {
		return nil, fmt.Errorf("cannot list the modules of %s on %s: %w", pkg, target, err)
	}
	var modules []module
	for line := range strings.Lines(string(out)) {
		if f := strings.Split(strings.TrimSpace(line), "\t"); len(f) == 3 {
			modules = append(modules, module{f[0], f[1], f[2]})
		}
	}
	return modules, nil
}

var licenceFile = regexp.MustCompile(`(?i)^(licen[sc]e|copying|notice|unlicense|edl)([-.].*)?$`)

// notice prints the texts of a module.
func (m module) notice(to io.Writer) error {
	entries, err := os.ReadDir(m.dir)
	if err != nil {
		return fmt.Errorf("cannot read module %s: %w; run go mod download", m.path, err)
	}
	var texts, found []string
	for _, e := range entries {
		if e.IsDir() || !licenceFile.MatchString(e.Name()) {
			continue
		}
		text, err := os.ReadFile(filepath.Join(m.dir, e.Name()))
		if err != nil {
			return err
		}
		texts = append(texts, string(text))
		found = append(found, licencesIn(string(text))...)
	}
	slices.Sort(found)
	found = slices.Compact(found)
	if len(found) == 0 {
		return fmt.Errorf("module %s %s has no licence that is known: read it, and add it to the list if it fits", m.path, m.version)
	}
	if bad := slices.DeleteFunc(slices.Clone(found), permissive); len(bad) == len(found) {
		return fmt.Errorf("module %s %s is under %s, which does not fit Apache-2.0 in one binary: use another module", m.path, m.version, strings.Join(bad, ", "))
	}
	line := strings.Repeat("=", 80)
	fmt.Fprintf(to, "%s\n%s %s: %s\n%s\n\n%s\n", line, m.path, m.version, strings.Join(found, ", "), line, strings.Join(texts, "\n\n"))
	return nil
}
