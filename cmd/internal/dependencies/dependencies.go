// Package dependencies lists the modules that the program is built of, with their licences: for the
// table in SECURITY.md and as a bill of materials in the form of CycloneDX.
package dependencies

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"time"
)

// Module is a module that the program is built of.
type Module struct {
	Path, Version string
	Dir           string    // in the module cache
	Time          time.Time // of the version
	Update        *Module   // a newer version; only where it was asked for
	Main          bool
	Licence       string `json:"-"` // SPDX identifier
	script        bool   // for browsers, embedded
}

var chartVersion = regexp.MustCompile(`uPlot \(v([0-9.]+)\)`)

// Embedded returns the one library that pages bring along for browsers.
func Embedded(dir string) (Module, error) {
	const file = "dashboards/web/static/uplot/uPlot.esm.js"
	text, err := os.ReadFile(filepath.Join(dir, file))
	if err != nil {
		return Module{}, err
	}
	m := chartVersion.FindSubmatch(text[:min(len(text), 400)])
	if m == nil {
		return Module{}, fmt.Errorf("%s does not say which version it is", file)
	}
	return Module{Path: "uplot", Version: string(m[1]), Licence: "MIT", script: true}, nil
}

// List returns the modules of a program's packages in the order of their paths, each with its licence,
// and what it embeds for browsers.
// dir is in the program's own module. With updates newer versions are asked for.
func List(ctx context.Context, dir, program string, updates bool) ([]Module, error) {
	text, err := goList(ctx, dir, "-deps", "-f", "{{with .Module}}{{if not .Main}}{{.Path}}{{end}}{{end}}", program)
	if err != nil {
		return nil, err
	}
	paths := strings.Fields(string(text))
	slices.Sort(paths)
	args := []string{"-m", "-json"}
	if updates {
		args = append(args, "-u")
	}
	if text, err = goList(ctx, dir, append(args, slices.Compact(paths)...)...); err != nil {
		return nil, err
	}
	var list []Module
	for d := json.NewDecoder(bytes.NewReader(text)); ; {
		var m Module
		if err := d.Decode(&m); err == io.EOF {
			chart, err := Embedded(dir)
			return append(list, chart), err
		} else if err != nil {
			return nil, fmt.Errorf("cannot read what go list -m -json prints: %w", err)
		}
		if m.Licence, err = licence(m.Dir); err != nil {
			return nil, fmt.Errorf("module %s: %w", m.Path, err)
		}
		list = append(list, m)
	}
}

func goList(ctx context.Context, dir string, args ...string) ([]byte, error) {
	cmd := exec.CommandContext(ctx, "go", append([]string{"list"}, args...)...)
	cmd.Dir = dir
	var said bytes.Buffer
	cmd.Stderr = &said
	out, err := cmd.Output()
	if err != nil {
		return nil, fmt.Errorf("cannot list modules: %w: %s", err, said.String())
	}
	return out, nil
}

// marks are words that a licence alone holds, by its SPDX identifier; the first that fits counts.
var marks = []struct {
	licence string
	words   []string
}{
	{"Apache-2.0", []string{"apache license", "version 2.0"}},
	{"MPL-2.0", []string{"mozilla public license", "2.0"}},
	{"EPL-2.0", []string{"eclipse public license", "2.0"}},
	{"ISC", []string{"permission to use, copy, modify, and/or distribute this software for any purpose"}},
	{"ISC", []string{"permission to use, copy, modify, and distribute this software for any purpose"}},
	{"BSD-3-Clause", []string{"redistributions of source code must retain", "neither the name"}},
	{"BSD-3-Clause", []string{"redistributions of source code must retain", "names of its contributors may not be used"}},
	{"BSD-2-Clause", []string{"redistributions of source code must retain"}},
	{"MIT", []string{"permission is hereby granted, free of charge, to any person"}},
}

// licence returns the licence of a module by the text that it comes with.
func licence(dir string) (string, error) {
	files, err := filepath.Glob(filepath.Join(dir, "*"))
	if err != nil {
		return "", err
	}
	for _, file := range files {
		name := strings.ToLower(filepath.Base(file))
		if !strings.HasPrefix(name, "licen") && !strings.HasPrefix(name, "copying") {
			continue
		}
		text, err := os.ReadFile(file)
		if err != nil {
			return "", err
		}
		if l := identify(string(text)); l != "" {
			return l, nil
		}
	}
	return "", errors.New("it has no licence that is known here: read it, and add what marks it to package dependencies")
}

func identify(text string) string {
	text = strings.Join(strings.Fields(strings.ToLower(text)), " ")
	for _, m := range marks {
		if !slices.ContainsFunc(m.words, func(w string) bool { return !strings.Contains(text, w) }) {
			return m.licence
		}
	}
	return ""
}
