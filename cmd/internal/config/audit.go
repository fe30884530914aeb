package config

import (
	"net/url"
	"regexp"
	"strings"

	"go.yaml.in/yaml/v3"
)

// Audit is where the lines of the audit trail are sent to as well.
type Audit struct {
	Syslog     string // tls://host:port, or tcp://host:port on this machine; "": none
	Webhook    Secret // "": none
	HeaderFile string // sent along with the webhook
	CAFile     string // of both; "": the system's
	// SignKeyFile holds the key that the webhook's lines are signed with; "": they are not.
	SignKeyFile string
}

const auditExample = "audit: { syslog: tls://log.plant.example:6514, ca_file: /etc/strokewise/ca.pem }"

// audit reads where the trail is sent to.
func (d *decoder) audit(m *mapping, a *Audit) {
	if m.node == nil {
		return
	}
	m.link("syslog", []string{"tls", "tcp"}, "tls://log.plant.example:6514", &a.Syslog)
	var hook string
	m.secretLink("webhook", []string{"https", "http"}, "https://log.plant.example/strokewise", &hook)
	a.Webhook = NewSecret(hook)
	m.readable("header_file", "/etc/strokewise/audit.headers", &a.HeaderFile)
	m.readable("ca_file", "/etc/strokewise/ca.pem", &a.CAFile)
	m.signKey(&a.SignKeyFile)
	m.done(nil)
	for key, link := range map[string]string{"syslog": a.Syslog, "webhook": hook} {
		if (strings.HasPrefix(link, "http://") || strings.HasPrefix(link, "tcp://")) && !loopback(hostOf(link)) {
			m.fail(key, "is reached in clear, and the audit holds names and addresses", "an address that begins with https:// or tls://", auditExample)
		}
	}
	if u, err := url.Parse(a.Syslog); a.Syslog != "" && (err != nil || u.Port() == "" || u.Path != "" || u.RawQuery != "") {
		m.fail("syslog", quote(a.Syslog)+" is no address with a port", "tls://host:port", auditExample)
	}
	if a.Syslog == "" && hook == "" && !m.has("syslog") && !m.has("webhook") {
		m.failValue("syslog", "is missing, and so is webhook", "where the trail is sent to", "tls://log.plant.example:6514")
	}
	for key, file := range map[string]string{"header_file": a.HeaderFile, "sign_key_file": a.SignKeyFile} {
		if file != "" && hook == "" {
			m.fail(key, "is for a webhook, and there is none", "webhook as well", auditExample)
		}
	}
}

// scopeToken is what OAuth calls a scope (RFC 6749, section 3.3).
var scopeToken = regexp.MustCompile(`^[\x21\x23-\x5B\x5D-\x7E]{1,100}$`)

// scopes reads what is asked of an OpenID Connect provider beside openid. Some refuse what they do
// not know: a provider that lists groups without being asked needs none.
func (d *decoder) scopes(m *mapping) []string {
	const example = "scopes: [profile, email, groups]"
	if !m.has("scopes") {
		return []string{"profile", "email", "groups"}
	}
	list := []string{}
	m.each("scopes", example, func(n *yaml.Node, path string) {
		switch {
		case !scopeToken.MatchString(n.Value):
			d.fail(n, path, quote(n.Value)+" is no scope", "a name without spaces", example)
		case n.Value != "openid": // it always is
			list = append(list, n.Value)
		}
	})
	return list
}
