package main

import (
	"crypto/tls"
	"net/http"
	"strings"
	"time"

	"strokewise/cmd/internal/app"
	"strokewise/cmd/internal/config"
	"strokewise/dashboards/access"
	"strokewise/dashboards/signon"
	"strokewise/dashboards/trail"
	"strokewise/dashboards/web"
)

// doors turns what a configuration says about logins into the runtime's options.
func doors(h *config.HTTP) (app.Doors, error) {
	d := app.Doors{
		UsersFile: h.UsersFile, CertFile: h.TLS.CertFile, KeyFile: h.TLS.KeyFile,
		Confirm: web.Confirm(h.Confirm), Lasting: access.Lasting{Idle: h.Idle, Longest: h.Longest, Fresh: access.UsualLasting.Fresh},
		Proxy:       web.Proxy{Trusted: h.Proxy.Trusted, Header: h.Proxy.Header},
		OnlyProxies: len(h.Proxy.Trusted) > 0 && !h.Secure() && !h.PlainHTTP,
		Metrics:     h.Metrics.Listen, MetricsConfig: h.Metrics.ConfigFile, Profiles: h.Profiles,
	}
	var err error
	if d.Audit, err = auditTargets(&h.Audit); err != nil || h.OIDC.Issuer == "" {
		return d, err
	}
	d.SignOn, err = provider(&h.OIDC)
	return d, err
}

// provider returns the login at an OpenID Connect provider.
func provider(c *config.OIDC) (*signon.Options, error) {
	o := &signon.Options{Issuer: c.Issuer, ClientID: c.ClientID, Redirect: strings.TrimSuffix(c.Pages, "/") + web.Callback,
		Scopes: c.Scopes, NameClaim: c.NameClaim, GroupsClaim: c.GroupsClaim, ACR: c.SecondFactor, Roles: map[string]access.Role{}}
	for group, name := range c.Roles {
		role, err := access.ParseRole(name)
		if err != nil {
			return nil, err
		}
		o.Roles[group] = role
	}
	if c.SecretFile != "" {
		secret, err := config.ReadSecret(c.SecretFile)
		if err != nil {
			return nil, err
		}
		o.Secret = secret.Reveal()
	}
	roots, err := authorities(c.CAFile)
	if err != nil {
		return nil, err
	}
	t := http.DefaultTransport.(*http.Transport).Clone()
	t.TLSClientConfig = &tls.Config{MinVersion: tls.VersionTLS12, RootCAs: roots}
	o.Client = &http.Client{Transport: t, Timeout: 15 * time.Second}
	return o, nil
}

// auditTargets returns where the audit trail is sent to as well.
func auditTargets(c *config.Audit) (out []app.AuditTarget, err error) {
	roots, err := authorities(c.CAFile)
	if err != nil {
		return nil, err
	}
	way := &tls.Config{MinVersion: tls.VersionTLS12, RootCAs: roots}
	if address, plain := strings.CutPrefix(c.Syslog, "tcp://"); plain {
		out = append(out, app.AuditTarget{Name: "syslog", Target: &trail.Syslog{Address: address}})
	} else if c.Syslog != "" {
		out = append(out, app.AuditTarget{Name: "syslog", Target: &trail.Syslog{Address: strings.TrimPrefix(c.Syslog, "tls://"), TLS: way}})
	}
	if c.Webhook.Reveal() == "" {
		return out, nil
	}
	h, err := headers(c.HeaderFile)
	if err != nil {
		return nil, err
	}
	t := http.DefaultTransport.(*http.Transport).Clone()
	t.TLSClientConfig = way
	hook := &trail.Webhook{URL: c.Webhook.Reveal(), Header: h, Client: &http.Client{Transport: t, CheckRedirect: trail.NoRedirects}}
	return append(out, app.AuditTarget{Name: "webhook", Target: hook}), nil
}
