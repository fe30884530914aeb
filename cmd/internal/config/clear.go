package config

import (
	"net/url"
	"strings"
)

// clearTextExample is the key that lets a login travel in clear.
const clearTextExample = "clear_text: " + clearText

// clearText reads whether a login may travel in clear, which somebody has to say in words.
func (m *mapping) clearText() {
	if word, ok := m.scalar("clear_text", clearText, clearTextExample); ok && word != clearText {
		m.fail("clear_text", quote(word)+" is not the word", "the word that says what it means: "+clearText, clearTextExample)
	}
}

// refuseClear reports a login that would travel in clear to another machine, unless that is said.
func (m *mapping) refuseClear(key, problem, expected, example string) {
	if !m.has("clear_text") { // else it is the word, or was reported
		m.fail(key, problem, expected+", or "+clearTextExample+" beside it", example)
	}
}

// clearLink reports a receiver's URL that carries a login, or goes with one, in clear to another
// machine. A path may be a secret as well, which nobody but its owner knows.
func (m *mapping) clearLink(link string, login bool) {
	m.clearText()
	u, err := url.Parse(link)
	if err != nil || u.Scheme != "http" || loopback(strings.ToLower(u.Hostname())) {
		return
	}
	const expected, example = "a URL that begins with https", "url: https://alarms.example/in"
	if login || u.User != nil || u.RawQuery != "" {
		m.refuseClear("url", "would send a login or token over the network in clear", expected, example)
	} else if !m.has("clear_text") {
		m.warn("url", "goes over the network in clear: others on the way can read what it says, and keep it back", expected, example)
	}
}

// clearBroker reports a broker that is told user and password in clear.
func (m *mapping) clearBroker(q *Link) {
	m.clearText()
	if q.Broker == "" || q.Broker == Embedded || q.Secure() || !m.has("user") {
		return
	}
	for _, s := range append([]string{q.Broker}, q.Others...) {
		if u, err := url.Parse(s); err == nil && !loopback(strings.ToLower(u.Hostname())) {
			m.refuseClear("broker", "would be sent user and password over the network in clear", "a broker with ssl, mqtts, tls or wss before ://", "broker: ssl://"+u.Hostname()+":8883")
			return
		}
	}
}
