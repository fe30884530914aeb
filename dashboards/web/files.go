package web

import (
	"bytes"
	"crypto/sha256"
	"embed"
	"fmt"
	"io/fs"
	"net/http"
	"time"
)

//go:embed static
var static embed.FS

// kinds are the media types of our own files. The table of the machine may differ, and
// with nosniff a wrong one stops the page.
var kinds = map[string]string{
	"style.css":           "text/css; charset=utf-8",
	"stations.js":         "text/javascript; charset=utf-8",
	"station.js":          "text/javascript; charset=utf-8",
	"morph.js":            "text/javascript; charset=utf-8",
	"feed.js":             "text/javascript; charset=utf-8",
	"chart.js":            "text/javascript; charset=utf-8",
	"lines.js":            "text/javascript; charset=utf-8",
	"states.js":           "text/javascript; charset=utf-8",
	"uplot/uPlot.esm.js":  "text/javascript; charset=utf-8",
	"uplot/uPlot.min.css": "text/css; charset=utf-8",
	"uplot/LICENSE":       "text/plain; charset=utf-8",
	"icon.svg":            "image/svg+xml",
}

// file is an embedded file with the tag by which browsers know it again.
type file struct {
	kind, tag string
	content   []byte
}

// files serves the embedded files by name and lists no folder.
type files map[string]file

func newFiles() files {
	all := files{}
	for name, kind := range kinds {
		content, err := fs.ReadFile(static, "static/"+name)
		if err != nil {
			panic("BUG: " + err.Error()) // embedded, so always there
		}
		all[name] = file{kind, fmt.Sprintf(`"%x"`, sha256.Sum256(content))[:18] + `"`, content}
	}
	return all
}

// ServeHTTP implements http.Handler for paths below /static/.
func (f files) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	one, ok := f[r.URL.Path]
	if !ok {
		http.NotFound(w, r)
		return
	}
	w.Header().Set("Content-Type", one.kind)
	w.Header().Set("Cache-Control", "no-cache")
	w.Header().Set("ETag", one.tag)
	http.ServeContent(w, r, "", time.Time{}, bytes.NewReader(one.content))
}
