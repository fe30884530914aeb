package main

import (
	"fmt"
	"runtime"
	"runtime/debug"
	"strings"
)

// release and commit are of this build: the linker sets them from the tag. A plain go build leaves
// them empty, and the version control's mark in the binary stands in.
var release, commit string

// untagged is the version of a source without tags.
const untagged = "0.1.0"

type versionCmd struct{}

// Run prints the version.
func (versionCmd) Run(e *env) error {
	_, err := fmt.Fprintln(e.out, versionLine())
	return err
}

// versionLine returns the version with what it was built from and by.
func versionLine() string {
	from := "unknown"
	if _, c, _ := build(); c != "" {
		from = c
	}
	return fmt.Sprintf("strokewise %s, commit %s, %s %s/%s", version(), from, runtime.Version(), runtime.GOOS, runtime.GOARCH)
}

// version returns the release, with the revision where the source was not a tagged one.
func version() string {
	v, c, modified := build()
	if release == "" && len(c) >= 12 {
		v += "+" + c[:12]
	}
	if modified {
		v += "-modified"
	}
	return v
}

// build returns what the linker or the version control has left in the binary.
func build() (v, c string, modified bool) {
	if release != "" {
		return strings.TrimPrefix(release, "v"), commit, false
	}
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return untagged, "", false
	}
	for _, s := range info.Settings {
		switch s.Key {
		case "vcs.revision":
			c = s.Value
		case "vcs.modified":
			modified = s.Value == "true"
		}
	}
	return untagged, c, modified
}
