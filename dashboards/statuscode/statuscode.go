// Package statuscode remembers the status of an answer, for those who count or write down what became of a request.
package statuscode

import "net/http"

// Keeper passes an answer on and remembers its first status.
type Keeper struct {
	http.ResponseWriter
	Status int
	wrote  bool
}

// Keep returns a writer before another one; without a word on the status an answer is 200.
func Keep(w http.ResponseWriter) *Keeper { return &Keeper{ResponseWriter: w, Status: http.StatusOK} }

// WriteHeader implements http.ResponseWriter.
func (w *Keeper) WriteHeader(status int) {
	if !w.wrote {
		w.Status, w.wrote = status, true
	}
	w.ResponseWriter.WriteHeader(status)
}

// Write implements http.ResponseWriter.
func (w *Keeper) Write(p []byte) (int, error) {
	w.wrote = true
	return w.ResponseWriter.Write(p)
}

// Unwrap lets http.ResponseController reach what is behind.
func (w *Keeper) Unwrap() http.ResponseWriter { return w.ResponseWriter }
