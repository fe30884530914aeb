package web

import (
	"net/http"
	"net/http/pprof"
)

// profiles serves the program's own profiles (processor, memory, goroutines) to this machine
// alone, whatever names a proxy may ask for.
func profiles(mux *http.ServeMux) {
	local := func(h http.HandlerFunc) http.HandlerFunc {
		return func(w http.ResponseWriter, r *http.Request) {
			name := hostName(r.Host)
			if (name != "localhost" && !loopback(name)) || !loopback(hostName(r.RemoteAddr)) {
				plain(w, http.StatusForbidden, "profiles are served to this machine alone")
				return
			}
			h(w, r)
		}
	}
	mux.HandleFunc("/debug/pprof/", local(pprof.Index))
	mux.HandleFunc("/debug/pprof/profile", local(pprof.Profile))
	mux.HandleFunc("/debug/pprof/trace", local(pprof.Trace))
}
