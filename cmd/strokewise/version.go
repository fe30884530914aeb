package main

import (
	"fmt"
	"runtime"
	"runtime/debug"
)

// release is the version of this source.
const release = "0.1.0"

type versionCmd struct{}

// Run prints the version.
func (versionCmd) Run(e *env) error {
	_, err := fmt.Fprintf(e.out, "strokewise %s, %s %s/%s\n", version(), runtime.Version(), runtime.GOOS, runtime.GOARCH)
	return err
}

// version gives the release with the revision that it was built from, where that is known.
func version() string {
	v := release
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return v
	}
	for _, s := range info.Settings {
		switch {
		case s.Key == "vcs.revision" && len(s.Value) >= 12:
			v += "+" + s.Value[:12]
		case s.Key == "vcs.modified" && s.Value == "true":
			v += "-modified"
		}
	}
	return v
}
