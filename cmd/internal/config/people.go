package config

import (
	"crypto/tls"
	"net/url"

	"strokewise/dashboards/access"
)

// checkUsers reports a users file that cannot be used.
func (m *mapping) checkUsers(path string) {
	if m.d.opt.NoBroker {
		return
	}
	l, err := access.Read(path)
	switch {
	case err != nil:
		m.fail("users_file", err.Error(), "a file that strokewise user add has made", usersExample)
	case len(l.Users) == 0:
		m.warn("users_file", "names nobody", "users: strokewise user add NAME --role ROLE --users FILE", "")
	}
}

// checkPair reports a certificate and a key that do not belong together.
func (m *mapping) checkPair(h *HTTP) {
	if m.d.opt.NoBroker || h.TLS.CertFile == "" || h.TLS.KeyFile == "" || readable(h.TLS.CertFile) != nil || readable(h.TLS.KeyFile) != nil {
		return
	}
	if _, err := tls.LoadX509KeyPair(h.TLS.CertFile, h.TLS.KeyFile); err != nil {
		m.fail("cert_file", err.Error(), "a certificate and its key, each a PEM file", tlsExample)
	}
}

// groups reads which groups have which role.
func (d *decoder) groups(m *mapping) map[string]string {
	out := map[string]string{}
	m.anyKeys()
	for _, k := range m.keys {
		if i, ok := m.choice(k.Value, access.RoleNames()...); ok {
			out[k.Value] = access.RoleNames()[i]
		}
	}
	return out
}

// hostOf returns the host of a link, without its port.
func hostOf(link string) string {
	u, err := url.Parse(link)
	if err != nil {
		return ""
	}
	return u.Hostname()
}
