package config

import (
	"fmt"
	"net/url"
	"os"
	"slices"
	"strings"
	"time"

	"go.yaml.in/yaml/v3"

	"strokewise/analyzer/station"
)

const (
	logURLExample = "nats://127.0.0.1:4222"
	macKeyLeast   = 32 // characters: 192 bits where the key is in base64
)

// log reads how the sample log is kept.
func (d *decoder) log(m *mapping) {
	l := &d.cfg.Log
	quantity(m, "keep", station.ParseDuration, between(minute, 10*365*24*time.Hour, "1 min to 10 years"), &l.Keep)
	quantity(m, "max_bytes", station.ParseBytes, between[int64](16<<20, 1<<50, "16 MiB to 1024 TiB"), &l.MaxBytes)
	if i, ok := m.choice("sync", "process", "always"); ok {
		l.SyncAlways = i == 1
	}
	d.logURL(m)
	m.prefix(&l.Prefix)
	d.logLogin(m)
	d.tls(m.mapping("tls", "tls: { ca_file: /etc/strokewise/log-ca.pem }"), &l.TLS, "the log server's")
	d.macKeys(m)
	m.clearText()
	const file = "secrets stand in files of their own: name them in credentials_file, nkey_file, token_file or password_file"
	m.done(map[string]string{"password": file, "token": file, "credentials": file, "nkey": file, "seed": file,
		"mac_key": "a key stands in a file of its own: name it in mac_key_file"})
	d.logServer(m)
}

// logURL reads the address of an external log: one, or a list of a cluster's servers, of
// which any may be down at the start.
func (d *decoder) logURL(m *mapping) {
	schemes := []string{"nats", "tls"}
	if n := m.get("url"); n == nil || n.Kind != yaml.SequenceNode {
		m.link("url", schemes, logURLExample, &d.cfg.Log.URL)
		m.alsoList("url")
		return
	}
	var all []string
	m.each("url", "url: ["+logURLExample+"]", func(n *yaml.Node, path string) {
		u, err := url.Parse(n.Value)
		if err != nil || u.Hostname() == "" || u.User != nil || !slices.Contains(schemes, u.Scheme) || strings.ContainsAny(n.Value, ", ") {
			d.fail(n, path, "is no such URL", "a URL that begins with nats or tls and ://, without user and password", logURLExample)
			return
		}
		all = append(all, n.Value)
	})
	d.cfg.Log.URL = strings.Join(all, ",")
}

// prefix reads what the names of a log at a shared server begin with.
func (m *mapping) prefix(into *string) {
	const expected, example = "at most 32 letters, digits, - and _", "plant-a"
	s, ok := m.scalar("prefix", expected, "prefix: "+example)
	switch {
	case !ok:
	case !isName(s) || len(s) > 32:
		m.failValue("prefix", quote(s)+" cannot begin the names of a log", expected, example)
	default:
		*into = s
	}
}

// logLogin reads how we make ourselves known to the log's server: in one way at most.
func (d *decoder) logLogin(m *mapping) {
	l := &d.cfg.Log
	m.secretFile("credentials_file", "/etc/strokewise/log.creds", &l.CredentialsFile)
	m.secretFile("nkey_file", "/etc/strokewise/log.nk", &l.NKeyFile)
	m.secretFile("token_file", "/etc/strokewise/log.token", &l.TokenFile)
	user := m.text("user", &l.User, "the user's name at the log's server", "user: strokewise")
	m.secretFile("password_file", "/etc/strokewise/log.password", &l.PasswordFile)
	if m.has("password_file") && !user && !m.has("user") {
		m.fail("password_file", "is given without a user", "user as well", "user: strokewise")
	}
	if user && !m.has("password_file") {
		m.fail("user", "is given without password_file", "the file of the user's password as well", "password_file: /etc/strokewise/log.password")
	}
	first := ""
	for _, key := range [...]string{"credentials_file", "nkey_file", "token_file", "user"} {
		switch {
		case !m.has(key):
		case first == "":
			first = key
		default:
			m.fail(key, "is given beside "+first, "one way to log in", "")
		}
	}
}

// secretFile reads the path of a file whose contents nobody else should know.
func (m *mapping) secretFile(key, example string, into *string) {
	m.readable(key, example, into)
}

// warnOpen warns of a secret that every user of the machine may read.
func (m *mapping) warnOpen(at *yaml.Node, key, path string) {
	if info, err := os.Stat(path); err == nil && info.Mode().Perm()&0o007 != 0 {
		m.d.warn(at, key, fmt.Sprintf("%s may be read by every user of this machine (mode %#o)", quote(path), info.Mode().Perm()), "mode 0600, and the user that runs strokewise as its owner", "")
	}
}

// macKeys reads the key that entries of the log are signed with, and those that were used before.
func (d *decoder) macKeys(m *mapping) {
	l := &d.cfg.Log
	const example = "/etc/strokewise/log.key"
	if m.secretFile("mac_key_file", example, &l.MACKeyFile); l.MACKeyFile != "" {
		d.macKey(m.at("mac_key_file"), m.sub("mac_key_file"), l.MACKeyFile)
	}
	m.each("mac_old_key_files", "mac_old_key_files: ["+example+".old]", func(n *yaml.Node, path string) {
		if n.Kind != yaml.ScalarNode || isNull(n) || n.Value == "" {
			d.fail(n, path, "is "+kind(n), "the path of a key that was used before", example+".old")
			return
		}
		file := d.absolute(n.Value)
		if err := readable(file); err != nil && !d.opt.NoBroker {
			d.fail(n, path, err.Error(), "the path of a file that this program may read", example+".old")
			return
		}
		m.warnOpen(n, path, file)
		d.macKey(n, path, file)
		l.MACOldKeyFiles = append(l.MACOldKeyFiles, file)
	})
	if len(l.MACOldKeyFiles) > 0 && !m.has("mac_key_file") {
		m.fail("mac_old_key_files", "is given without mac_key_file", "the key that new entries are signed with as well", "mac_key_file: "+example)
	}
}

// macKey checks that a file holds a key that cannot be guessed.
func (d *decoder) macKey(n *yaml.Node, key, path string) {
	if d.opt.NoBroker || readable(path) != nil {
		return
	}
	const expected = "a file with at least 32 characters, of chance: head -c 32 /dev/urandom | base64"
	s, err := ReadSecret(path)
	switch {
	case err != nil:
		d.fail(n, key, err.Error(), expected, "")
	case len(s.Reveal()) < macKeyLeast:
		d.fail(n, key, fmt.Sprintf("%s holds a key of %d characters", quote(path), len(s.Reveal())), expected, "")
	}
}

// logServer checks what makes sense at an external server alone.
func (d *decoder) logServer(m *mapping) {
	l := &d.cfg.Log
	if !m.has("url") {
		for _, key := range [...]string{"credentials_file", "nkey_file", "token_file", "user", "tls", "prefix", "mac_key_file", "clear_text"} {
			if m.has(key) {
				m.fail(key, "is given, but the log is inside this process", "url as well", "url: "+logURLExample)
			}
		}
		return
	}
	for _, s := range strings.Split(l.URL, ",") {
		u, err := url.Parse(s)
		if err != nil || s == "" {
			continue
		}
		if m.has("tls") && u.Scheme != "tls" {
			m.fail("tls", "is given, but "+quote(s)+" is not spoken to over TLS", "urls that begin with tls://", "url: tls://"+u.Host)
			return
		}
		if login := m.has("token_file") || m.has("user"); login && u.Scheme == "nats" && !loopback(u.Hostname()) {
			m.refuseClear("url", "would send the login over the network in clear", "a url that begins with tls://", "url: tls://"+u.Host)
			return
		}
	}
}
