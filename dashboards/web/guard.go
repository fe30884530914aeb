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
func guard(next http.Handler, hosts []string, t table) http.Handler {
	allowed := map[string]bool{"localhost": true}
	for _, h := range hosts {
		if name := hostName(h); name != "" {
			allowed[name] = true
		}
	}
	origins := http.NewCrossOriginProtection()
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		to := t.find(r)
		setHeaders(w.Header(), to.forms)
		name := hostName(r.Host)
		if !allowed[name] && !loopback(name) && !ownAddress(r, name) {
			plain(w, http.StatusMisdirectedRequest, fmt.Sprintf(
				"the host name %.80q is not one of ours. Use localhost, or add the name to http.hosts in the configuration.", name))
			return
		}
		if err := origins.Check(r); err != nil {
			plain(w, http.StatusForbidden, "refused: the request comes from a page of another origin. Open the pages of this program themselves and send it from there.")
			return
		}
		if !to.takes(r.Method) {
			w.Header().Set("Allow", to.methods())
			plain(w, http.StatusMethodNotAllowed, "only "+strings.ReplaceAll(to.methods(), ", ", " and "))
			return
		}
		if r.Method == http.MethodPost && r.ContentLength > to.body {
			plain(w, http.StatusRequestEntityTooLarge, fmt.Sprintf("what was sent is longer than %d bytes: shorten it", to.body))
			return
		}
		r.Body = http.MaxBytesReader(w, r.Body, to.body)
		next.ServeHTTP(w, r)
	})
}

// takes reports whether a path takes a method.
func (r *route) takes(method string) bool {
	switch method {
	case http.MethodGet, http.MethodHead:
		return r.read != ""
	case http.MethodPost:
		return r.write != ""
	}
	return false
}

// methods returns what a path takes, as in an Allow header.
func (r *route) methods() string {
	switch {
	case r.write == "":
		return "GET, HEAD"
	case r.read == "":
		return "POST"
	}
	return "GET, HEAD, POST"
}

func setHeaders(h http.Header, forms bool) {
	h.Set("Content-Security-Policy", policy)
	if forms {
		h.Set("Content-Security-Policy", strings.Replace(policy, "form-action 'none'", "form-action 'self'", 1))
	}
	h.Set("X-Content-Type-Options", "nosniff")
	h.Set("Referrer-Policy", "no-referrer")
	h.Set("Cross-Origin-Resource-Policy", "same-origin")
	h.Set("Cross-Origin-Opener-Policy", "same-origin")
}

// ownAddress reports whether a name is the very address that the request came in at: a name of
// somebody else's that resolves to us is no address.
func ownAddress(r *http.Request, name string) bool {
	a, ok := r.Context().Value(http.LocalAddrContextKey).(*net.TCPAddr)
	return ok && a.IP.Equal(net.ParseIP(name))
}

// hostName returns the name in "name:port", "[::1]:port" or "name", in lower case.
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

// loopback reports whether the name is an address of this machine's loopback.
func loopback(name string) bool {
	ip := net.ParseIP(name)
	return ip != nil && ip.IsLoopback()
}
