package config

import (
	"fmt"
	"net/netip"
	"strings"

	"go.yaml.in/yaml/v3"
)

func loopback(host string) bool {
	if host == "localhost" {
		return true
	}
	a, err := netip.ParseAddr(host)
	return err == nil && a.Unmap().IsLoopback()
}

// isHost reports whether a lower-case text is a host name or an address without a port.
func isHost(s string) bool {
	if _, err := netip.ParseAddr(s); err == nil {
		return true
	}
	if s == "" || len(s) > 253 {
		return false
	}
	for _, label := range strings.Split(s, ".") {
		if !isName(label) || len(label) > 63 || label[0] == '-' || label[len(label)-1] == '-' {
			return false
		}
	}
	return true
}

// notify reads who is told of alarms: one webhook, or a list of them.
func (d *decoder) notify(m *mapping) {
	const example = "webhook: { url: https://alarms.example/in }"
	seen := map[string]int{}
	n := m.get("webhook")
	if n != nil && n.Kind == yaml.SequenceNode || d.rec != nil {
		m.each("webhook", example, func(n *yaml.Node, path string) {
			if w := d.item(n, path, "a webhook", example); w != nil {
				d.webhook(w, seen)
			}
		})
	}
	if n != nil && n.Kind != yaml.SequenceNode && !isNull(n) || d.rec != nil {
		if w := m.mapping("webhook", example); w.node != nil {
			d.webhook(w, seen)
		}
	}
	d.receivers(m, seen)
	m.done(nil)
}

func (d *decoder) webhook(m *mapping, seen map[string]int) {
	const example = "https://alarms.example/in"
	w := Webhook{Name: "webhook"}
	if m.has("name") {
		m.name("name", "on-call", &w.Name)
	} else {
		m.get("name")
	}
	if line, twice := seen[w.Name]; twice {
		m.fail("name", fmt.Sprintf("%s is the name of the webhook on line %d too", quote(w.Name), line), "a name of its own for each of several webhooks", "name: on-call")
	}
	seen[w.Name] = m.node.Line
	var url string
	if !m.has("url") {
		m.failValue("url", "is missing", "an http or https URL", example)
	}
	m.secretLink("url", []string{"https", "http"}, example, &url)
	w.URL = NewSecret(url)
	m.readable("header_file", "/etc/strokewise/webhook.headers", &w.HeaderFile)
	m.signKey(&w.SignKeyFile)
	m.clearLink(url, m.has("header_file"))
	m.done(map[string]string{"header": "headers may hold secrets: put them in a file and name it in header_file",
		"headers": "headers may hold secrets: put them in a file and name it in header_file"})
	d.cfg.Notify.Webhooks = append(d.cfg.Notify.Webhooks, w)
}

// signKey reads the file of the key that a webhook's events are signed with.
func (m *mapping) signKey(into *string) {
	if m.readable("sign_key_file", "/etc/strokewise/webhook.key", into); *into != "" {
		m.d.macKey(m.at("sign_key_file"), m.sub("sign_key_file"), *into)
	}
}
