package main

import (
	"crypto/tls"
	"time"

	"strokewise/cmd/internal/app"
	"strokewise/cmd/internal/config"
	"strokewise/rules/notify"
	"strokewise/rules/notify/egress"
)

// webhooks makes the receivers that take events.
func webhooks(c *config.Notify) ([]notify.Webhook, error) {
	var out []notify.Webhook
	for _, w := range c.Webhooks {
		h, err := headers(w.HeaderFile)
		if err != nil {
			return nil, err
		}
		key, err := signKey(w.SignKeyFile)
		if err != nil {
			return nil, err
		}
		out = append(out, notify.Webhook{Name: w.Name, URL: w.URL.Reveal(), Header: h, SignKey: key})
	}
	return out, nil
}

// signKey reads the key of a webhook's signatures, nil where no file is named.
func signKey(path string) ([]byte, error) {
	if path == "" {
		return nil, nil
	}
	key, err := config.ReadSecret(path)
	return []byte(key.Reveal()), err
}

// reach makes the other receivers.
func reach(cfg *config.Config) (app.Reach, error) {
	c := &cfg.Notify
	r := app.Reach{Pages: c.Pages, Addresses: egress.Addresses(c.Addresses)}
	for _, w := range c.Alertmanagers {
		h, err := headers(w.HeaderFile)
		if err != nil {
			return r, err
		}
		r.Alertmanagers = append(r.Alertmanagers, &notify.Alertmanager{Name: w.Name, URL: w.URL.Reveal(), Header: h})
	}
	for _, x := range c.Mails {
		m, err := mailer(&x)
		if err != nil {
			return r, err
		}
		r.Mails = append(r.Mails, m)
	}
	for _, p := range c.Panels {
		r.Panels = append(r.Panels, app.Panel{Name: p.Name, Prefix: p.Prefix})
	}
	if c.DeadMan.Every > 0 {
		r.DeadMan = &notify.DeadMan{URL: c.DeadMan.URL.Reveal(), Every: c.DeadMan.Every}
	}
	r.Routes = routesOf(cfg)
	return r, nil
}

// routesOf gives who is told what, nil where everybody is told of everything.
func routesOf(c *config.Config) *notify.Routes {
	n := &c.Notify
	if len(n.Routes) == 0 && len(n.Maintenance) == 0 {
		return nil
	}
	out := &notify.Routes{Working: func(site string, t time.Time) bool {
		s := c.Site(site)
		return s == nil || s.Working(t)
	}}
	when := map[string]notify.When{"always": notify.Always, "shift": notify.InShift, "outside-shift": notify.OutsideShift}
	for _, x := range n.Routes {
		out.Routes = append(out.Routes, notify.Route{Scope: notify.Scope(x.Scope), Priorities: x.Priorities, When: when[x.When], Receivers: x.To, After: x.Unacknowledged})
	}
	for _, w := range n.Maintenance {
		out.Windows = append(out.Windows, notify.Window{Scope: notify.Scope(w.Scope), From: w.From, To: w.To, Reason: w.Reason})
	}
	return out
}

func mailer(x *config.Mail) (*notify.Mail, error) {
	m := &notify.Mail{Name: x.Name, Server: x.Server, From: x.From, To: x.To, User: x.User, NoTLS: x.NoTLS, Digest: x.Digest}
	if x.PasswordFile != "" {
		s, err := config.ReadSecret(x.PasswordFile)
		if err != nil {
			return nil, err
		}
		m.Password = s.Reveal()
	}
	if x.CAFile != "" {
		pool, err := authorities(x.CAFile)
		if err != nil {
			return nil, err
		}
		m.TLS = &tls.Config{MinVersion: tls.VersionTLS12, RootCAs: pool}
	}
	return m, nil
}
