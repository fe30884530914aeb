package main

import (
	"crypto/tls"
	"strings"

	"strokewise/cmd/internal/app"
	"strokewise/cmd/internal/config"
	"strokewise/dashboards/access"
	"strokewise/dashboards/signon"
	"strokewise/dashboards/trail"
	"strokewise/dashboards/web"
	"strokewise/rules/notify/egress"
)

// doors turns what a configuration says about logins into the runtime's options.
func doors(c *config.Config) (app.Doors, error) {
	h := &c.HTTP
	d := app.Doors{
		UsersFile: h.UsersFile, CertFile: h.TLS.CertFile, KeyFile: h.TLS.KeyFile,
		Confirm: web.Confirm(h.Confirm), Lasting: access.Lasting{Idle: h.Idle, Longest: h.Longest, Fresh: access.UsualLasting.Fresh},
		Proxy:       web.Proxy{Trusted: h.Proxy.Trusted, Header: h.Proxy.Header},
		OnlyProxies: len(h.Proxy.Trusted) > 0 && !h.Secure() && !h.PlainHTTP,
		Metrics:     h.Metrics.Listen, MetricsConfig: h.Metrics.ConfigFile, Profiles: h.Profiles,
	}
	var err error
	if d.Audit, err = auditTargets(&h.Audit, c.Notify.Addresses); err != nil || h.OIDC.Issuer == "" {
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
	o.Client = egress.New(egress.Options{TLS: &tls.Config{MinVersion: tls.VersionTLS12, RootCAs: roots}, Timeout: signon.Patience})
	return o, nil
}

// auditTargets returns where the audit trail is sent to as well: to the addresses of receivers.
func auditTargets(c *config.Audit, at egress.Addresses) (out []app.AuditTarget, err error) {
	roots, err := authorities(c.CAFile)
	if err != nil {
		return nil, err
	}
	way := &tls.Config{MinVersion: tls.VersionTLS12, RootCAs: roots}
	if address, plain := strings.CutPrefix(c.Syslog, "tcp://"); plain {
		out = append(out, app.AuditTarget{Name: "syslog", Target: &trail.Syslog{Address: address, Dialer: at.Dialer()}})
	} else if c.Syslog != "" {
		out = append(out, app.AuditTarget{Name: "syslog", Target: &trail.Syslog{Address: strings.TrimPrefix(c.Syslog, "tls://"), TLS: way, Dialer: at.Dialer()}})
	}
	if c.Webhook.Reveal() == "" {
		return out, nil
	}
	hook := &trail.Webhook{URL: c.Webhook.Reveal(), Client: egress.New(egress.Options{Dial: at.Dialer().DialContext, TLS: way})}
	if hook.Header, err = headers(c.HeaderFile); err != nil {
		return nil, err
	}
	if hook.SignKey, err = signKey(c.SignKeyFile); err != nil {
		return nil, err
	}
	return append(out, app.AuditTarget{Name: "webhook", Target: hook}), nil
}
