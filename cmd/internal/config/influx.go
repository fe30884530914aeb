package config

import (
	"errors"
	"fmt"
	"net/url"
	"time"

	"strokewise/analyzer/station"
)

// Influx is a server with the InfluxDB v2 API that minutes and alarms are exported to.
type Influx struct {
	URL       string // without api/v2; empty: nothing is exported
	Org       string // empty where the server has none
	Bucket    string
	TokenFile string        // empty: no login
	CAFile    string        // PEM; empty: the system's certificate authorities
	Keep      time.Duration // how long something waits for a server that takes nothing
}

const (
	influxURLExample = "http://127.0.0.1:8086"
	influxExample    = "influx: { url: \"" + influxURLExample + "\", org: plant, bucket: boost, token_file: /etc/strokewise/influx.token }"
)

// influx reads where minutes and alarms are exported to.
func (d *decoder) influx(m *mapping) {
	c := &d.cfg.Influx
	if m.node != nil && !m.has("url") {
		m.failValue("url", "is missing", "the server's URL, without api/v2", influxURLExample)
	}
	m.serverLink(&c.URL)
	m.text("org", &c.Org, "the organisation that the bucket belongs to", "org: plant")
	if !m.text("bucket", &c.Bucket, "a bucket of the server", "bucket: boost") && m.node != nil && !m.has("bucket") {
		m.failValue("bucket", "is missing", "a bucket of the server (database/retention-policy for InfluxDB 1)", "boost")
	}
	m.readable("token_file", "/etc/strokewise/influx.token", &c.TokenFile)
	m.readable("ca_file", "/etc/strokewise/ca.pem", &c.CAFile)
	quantity(m, "keep", station.ParseDuration, between(time.Hour, 366*24*time.Hour, "1 h to 366 days"), &c.Keep)
	m.clearText()
	const file = "a token stands in a file of its own: name it in token_file"
	const check = "the server's certificate is always checked; name its authority in ca_file"
	m.done(map[string]string{"token": file, "password": file, "insecure": check, "insecure_skip_verify": check, "tls": check})
	d.influxLogin(m)
}

// serverLink reads the server's URL.
func (m *mapping) serverLink(into *string) {
	var s string
	if !m.link("url", []string{"http", "https"}, influxURLExample, &s) {
		return
	}
	if u, err := url.Parse(s); err != nil || u.RawQuery != "" || u.Fragment != "" {
		m.failValue("url", "has a query or a fragment", "the server's URL, without api/v2", influxURLExample)
		return
	}
	*into = s
}

// influxLogin checks what the login needs.
func (d *decoder) influxLogin(m *mapping) {
	c := &d.cfg.Influx
	u, err := url.Parse(c.URL)
	if err != nil || c.URL == "" {
		return
	}
	if c.CAFile != "" && u.Scheme != "https" {
		m.fail("ca_file", "is given, but the server is not spoken to over TLS", "a url that begins with https://", "")
	}
	if c.TokenFile != "" && u.Scheme == "http" && !loopback(u.Hostname()) {
		m.refuseClear("url", "would send the token over the network in clear", "https", "url: https://"+u.Host)
	}
}

// Check reports why a server that was named at the command line is not spoken to: by the rules of the file.
func (c *Influx) Check() error {
	u, err := url.Parse(c.URL)
	switch {
	case err != nil || u.Host == "" || u.Scheme != "http" && u.Scheme != "https" || u.RawQuery != "" || u.Fragment != "":
		return fmt.Errorf("%.200q is no URL of a server: expected one such as %s, without api/v2", c.URL, influxURLExample)
	case u.User != nil:
		return errors.New("the URL holds a login: name a file with the token instead")
	case c.Bucket == "":
		return errors.New("the bucket is missing (database/retention-policy for InfluxDB 1)")
	case c.TokenFile != "" && u.Scheme == "http" && !loopback(u.Hostname()):
		return fmt.Errorf("the token would travel in clear to %s: use https", u.Host)
	case c.CAFile != "" && u.Scheme != "https":
		return errors.New("certificate authorities are named, but the server is not spoken to over TLS: use https")
	}
	return nil
}
