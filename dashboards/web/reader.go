package web

import (
	"context"
	"errors"
	"net/http"
	"net/netip"
	"strings"

	"strokewise/analyzer/station"
	"strokewise/dashboards/access"
	"strokewise/dashboards/signon"
)

// Identity says who may do what. Without one everybody who reaches the pages may do everything,
// and names are what people write.
type Identity struct {
	Users    *access.Directory // nil: nobody has a password here
	Sessions *access.Sessions
	Confirm  Confirm // of acts that concern stored pressure
	Proxy    Proxy
	SignOn   *signon.Provider // nil: nobody logs in elsewhere
	Secure   bool             // served over TLS by ourselves
	// OnlyProxies turns away whoever comes past the trusted proxies: the way to us is in clear.
	OnlyProxies bool

	Throttle access.Throttle
	Orders   access.Pace   // of those who are logged in
	hashing  chan struct{} // a place each
}

// Proxy names who may say who asks.
type Proxy struct {
	Trusted []netip.Prefix // addresses whose headers are believed
	Header  string         // with the name of a user who has logged in at the proxy; "": none
}

// trusts reports whether a peer's headers are believed.
func (p *Proxy) trusts(peer string) bool {
	a, err := netip.ParseAddr(peer)
	if err != nil {
		return false
	}
	for _, t := range p.Trusted {
		if t.Contains(a.Unmap()) {
			return true
		}
	}
	return false
}

// reader is who asks.
type reader struct {
	access.Grant
	open   bool   // nobody logs in here
	way    way    // how we know
	cookie string // of the session
	id     string // what identifies the reader to us; forms carry a mark of it
	from   string // address
	secure bool   // over TLS, by ourselves or a trusted proxy
	panel  bool
	signed bool // on at the provider: there is no password here
	proved bool // the login was just done
}

// counted returns under what a reader's requests are counted: all logins of a name together, each token by itself.
func (who *reader) counted() string {
	if who.way == byToken {
		return who.id
	}
	return "name " + who.Name
}

// way is how we know who asks.
type way int

const (
	byNothing way = iota
	byCookie
	byToken
	byProxy
)

type readerKey struct{}

// readerOf returns who asks.
func readerOf(r *http.Request) *reader {
	if who, ok := r.Context().Value(readerKey{}).(*reader); ok {
		return who
	}
	return &reader{}
}

func withReader(r *http.Request, who *reader) *http.Request {
	return r.WithContext(context.WithValue(r.Context(), readerKey{}, who))
}

var (
	errLogin   = errors.New("log in first")
	errToken   = errors.New("the token is not known, or it has expired")
	errPast    = errors.New("refused: these pages are reached through their proxy only")
	errTwoWays = errors.New("the request says who asks although it does not come from a proxy that http.behind_proxy trusts")
)

// past reports whether a request comes past the proxies although it must not. This machine's own
// may: whoever is on it hears everything anyway.
func (d *Identity) past(r *http.Request) bool {
	peer := hostName(r.RemoteAddr)
	return d.OnlyProxies && !d.Proxy.trusts(peer) && !loopback(peer)
}

// identify returns who asks; an error says why we do not know. Address and secure are always set.
func (s *site) identify(r *http.Request) (*reader, error) {
	d := s.Identity
	if d == nil {
		return &reader{Grant: access.Grant{Role: access.Administrator}, open: true}, nil
	}
	who := &reader{from: d.address(r), secure: d.secure(r)}
	if secret, ok := d.bearer(r); ok {
		return who, s.byToken(who, secret)
	}
	if d.Proxy.Header != "" && len(r.Header.Values(d.Proxy.Header)) > 0 {
		return who, s.byProxy(who, r)
	}
	c, err := r.Cookie(cookieName(who.secure))
	if err != nil {
		return who, errLogin
	}
	return who, s.byCookie(who, c.Value)
}

// bearer returns the token that a request carries. What a proxy that says who asks passes on of its
// own login is none of ours.
func (d *Identity) bearer(r *http.Request) (string, bool) {
	secret, ok := strings.CutPrefix(r.Header.Get("Authorization"), "Bearer ")
	secret = strings.TrimSpace(secret)
	return secret, ok && (d.Proxy.Header == "" || strings.HasPrefix(secret, access.TokenMark))
}

func (s *site) byToken(who *reader, secret string) error {
	if s.Identity.Users == nil {
		return errToken
	}
	t, ok := s.Identity.Users.Token(secret)
	if !ok || t.Expired(s.Now()) {
		return errToken
	}
	s.Identity.Sessions.Use(t.ID, s.Now())
	who.Grant, who.way, who.id = t.Grant(), byToken, "token "+t.ID
	return nil
}

func (s *site) byProxy(who *reader, r *http.Request) error {
	d := s.Identity
	names := r.Header.Values(d.Proxy.Header)
	if !d.Proxy.trusts(hostName(r.RemoteAddr)) || len(names) != 1 || d.Users == nil {
		return errTwoWays
	}
	u, ok := d.Users.User(names[0])
	if !ok || u.Panel {
		return &access.Refusal{Text: "the proxy says who asks, but the users file does not know that name: strokewise user add NAME --no-password"}
	}
	who.Grant, who.way, who.id = u.Grant(), byProxy, "proxy "+u.Name
	return nil
}

func (s *site) byCookie(who *reader, cookie string) error {
	d := s.Identity
	x, err := d.Sessions.Find(cookie, s.Now())
	if err != nil {
		return errLogin
	}
	switch {
	case x.Grant != nil:
		who.Grant, who.signed = *x.Grant, true
	case d.Users == nil:
		return errLogin
	default:
		u, ok := d.Users.User(x.User)
		if !ok || u.Stamp() != x.Stamp {
			return errLogin
		}
		who.Grant, who.panel = u.Grant(), u.Panel
	}
	who.way, who.cookie, who.id, who.proved = byCookie, cookie, "session "+x.Serial, d.Sessions.Fresh(&x, s.Now())
	return nil
}

// address returns where a request comes from: the peer, or what trusted proxies say of it.
func (d *Identity) address(r *http.Request) string {
	at := hostName(r.RemoteAddr)
	hops := strings.Split(strings.Join(r.Header.Values("X-Forwarded-For"), ","), ",")
	for i := len(hops) - 1; i >= 0 && d.Proxy.trusts(at); i-- {
		a, err := netip.ParseAddr(strings.TrimSpace(hops[i]))
		if err != nil {
			break
		}
		at = a.Unmap().String()
	}
	return at
}

// secure reports whether the reader's connection is encrypted.
func (d *Identity) secure(r *http.Request) bool {
	return d.Secure || r.TLS != nil || d.Proxy.trusts(hostName(r.RemoteAddr)) && strings.EqualFold(r.Header.Get("X-Forwarded-Proto"), "https")
}

// still reports whether whoever opened a stream may still look. An open stream is a page that is
// seen, and counts as use.
func (s *site) still(r *http.Request) bool {
	who, err := s.identify(r)
	return err == nil && (who.open || who.May(access.Look) == nil)
}

// mayDo reports whether a reader may give a kind of command at all, anywhere.
func mayDo(who *reader, kind access.Action) bool { return who.open || who.May(kind) == nil }

// mark returns what the reader's forms carry, "" where they need nothing.
func (s *site) mark(who *reader) string {
	if s.Identity == nil || who.way != byCookie && who.way != byProxy {
		return ""
	}
	return s.Identity.Sessions.Mark(who.id)
}

// branchOf returns the branch of a station; what belongs to more than one has none.
func (s *site) branchOf(k station.Key) string {
	one, _ := s.Board.Get(k)
	return one.Plate.Branch
}

// mayAt returns nil where the reader may give a command about a station.
func (s *site) mayAt(who *reader, kind string, k station.Key) error {
	if who.open {
		return nil
	}
	return who.MayAt(access.Action(kind), k.Site, s.branchOf(k))
}
