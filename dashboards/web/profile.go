package web

import (
	"net/http"
	"net/http/pprof"
)

// Profiles returns the handler of the program's own profiles (processor, memory, goroutines). They
// show what memory holds, so they have a socket of their own and stand on no page.
func Profiles() http.Handler {
	mux := http.NewServeMux()
	mux.HandleFunc("/debug/pprof/", pprof.Index)
	mux.HandleFunc("/debug/pprof/profile", pprof.Profile)
	mux.HandleFunc("/debug/pprof/trace", pprof.Trace)
	return mux
}
