package config

import (
	"net/url"
	"slices"
	"strings"
)

// link reads a URL that must not hold a password.
func (m *mapping) link(key string, schemes []string, example string, into *string) bool {
	var s string
	u := m.url(key, schemes, example, &s)
	switch {
	case u == nil:
		return false
	case u.User != nil:
		m.failValue(key, "holds a user or a password", "a URL without them", example)
		return false
	}
	*into = s
	return true
}

// secretLink reads a URL that may hold secrets.
func (m *mapping) secretLink(key string, schemes []string, example string, into *string) {
	m.url(key, schemes, example, into)
}

// url reads a URL with a host. Its messages never quote it, since it may hold a secret.
func (m *mapping) url(key string, schemes []string, example string, into *string) *url.URL {
	expected := "a URL that begins with " + list(schemes) + " and ://"
	s, ok := m.scalar(key, expected, key+": "+example)
	if !ok {
		return nil
	}
	u, err := url.Parse(s)
	if err != nil || u.Hostname() == "" || !slices.Contains(schemes, u.Scheme) || strings.IndexFunc(s, unprintable) >= 0 {
		m.failValue(key, "is no such URL", expected, example)
		return nil
	}
	*into = s
	return u
}

// scheme gives the part of a URL before "://".
func scheme(s string) string {
	name, _, _ := strings.Cut(s, "://")
	return name
}

func tlsScheme(scheme string) bool {
	return scheme == "ssl" || scheme == "mqtts" || scheme == "tls" || scheme == "wss"
}
