package main

import (
	"strokewise/cmd/internal/app"
	"strokewise/cmd/internal/config"
	"strokewise/dashboards/access"
	"strokewise/dashboards/web"
)

// doors turns what a configuration says about logins into the runtime's options.
func doors(h *config.HTTP) app.Doors {
	return app.Doors{
		UsersFile: h.UsersFile, CertFile: h.TLS.CertFile, KeyFile: h.TLS.KeyFile,
		Confirm: web.Confirm(h.Confirm), Lasting: access.Lasting{Idle: h.Idle, Longest: h.Longest, Fresh: access.UsualLasting.Fresh},
		Proxy:       web.Proxy{Trusted: h.Proxy.Trusted, Header: h.Proxy.Header},
		OnlyProxies: len(h.Proxy.Trusted) > 0 && !h.Secure() && !h.PlainHTTP,
		Metrics:     h.Metrics.Listen, MetricsConfig: h.Metrics.ConfigFile, Profiles: h.Profiles,
	}
}
