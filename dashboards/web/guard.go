package web

import (
	"fmt"
	"net"
	"net/http"
	"strings"
)

// policy lets a page load nothing but our own style, script, data and images, and
// nobody frame it.
const policy = "default-src 'none'; style-src 'self'; script-src 'self'; connect-src 'self'; img-src 'self'; " +
	"base-uri 'none'; form-action 'none'; frame-ancestors 'none'"

// guard sets the headers of every answer and turns away what a page of another origin
// could send through a person's browser: names that only resolve to us (Host), and
// anything but reading. Forms of ours may be sent to the paths that take them.
func guard(next http.Handler, hosts []string, f forms) http.Handler {
	allowed := map[string]bool{"localhost": true}
	for _, h := range hosts {
		if name := hostName(h); name != "" {
			allowed[name] = true
		}
	}
	origins := http.NewCrossOriginProtection()
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		takes := f.takes(r.URL.Path)
		h.Set("Content-Security-Policy", policy)
		if f.shows(r.URL.Path) {
			h.Set("Content-Security-Policy", strings.Replace(policy, "form-action 'none'", "form-action 'self'", 1))
		}
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Referrer-Policy", "no-referrer")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		name := hostName(r.Host)
		if !allowed[name] && !loopback(name) {
			plain(w, http.StatusMisdirectedRequest, fmt.Sprintf(
				"the host name %.80q is not one of ours. Use localhost, or add the name to http.hosts in the configuration.", name))
			return
		}
		if err := origins.Check(r); err != nil {
			plain(w, http.StatusForbidden, "refused: the request comes from a page of another origin. Open the pages of this program themselves and send it from there.")
			return
		}
		if r.Method != http.MethodGet && r.Method != http.MethodHead && !(takes && r.Method == http.MethodPost) {
			h.Set("Allow", "GET, HEAD")
			plain(w, http.StatusMethodNotAllowed, "only GET and HEAD: this page only reads")
			return
		}
		next.ServeHTTP(w, r)
	})
}

// hostName gives the name in "name:port", "[::1]:port" or "name", in lower case.
func hostName(hostport string) string {
	name := hostport
	if h, _, err := net.SplitHostPort(hostport); err == nil {
		name = h
	}
	if strings.HasPrefix(name, "[") && strings.HasSuffix(name, "]") {
		name = name[1 : len(name)-1]
	}
	return strings.ToLower(strings.TrimSuffix(name, "."))
}

// loopback tells whether the name is an address of this machine's loopback.
func loopback(name string) bool {
	ip := net.ParseIP(name)
	return ip != nil && ip.IsLoopback()
}
