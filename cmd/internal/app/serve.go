package app

import (
	"context"
	"crypto/tls"
	"errors"
	"log/slog"
	"net"
	"net/http"
	"time"

	"strokewise/dashboards/prometheus"
	"strokewise/dashboards/web"
)

// serve starts the pages; they answer 503 until the partitions have caught up.
func (a *App) serve(g *group) error {
	h, err := a.handler()
	if err != nil {
		return err
	}
	d := &a.doors
	for _, f := range d.forwarders {
		g.run(f.Run)
	}
	srv := a.server(g, h)
	if c := d.certificate; c != nil {
		srv.TLSConfig = &tls.Config{MinVersion: tls.VersionTLS12, GetCertificate: c.get}
		a.serveAt(g, srv, func() error { return srv.ServeTLS(a.web, "", "") })
	} else {
		a.serveAt(g, srv, func() error { return srv.Serve(a.web) })
	}
	if d.beside != nil {
		srv := a.server(g, d.probes)
		a.serveAt(g, srv, func() error { return prometheus.Serve(d.beside, srv, a.opt.Doors.MetricsConfig, a.log) })
	}
	if d.profiles != nil {
		srv := a.server(g, web.Profiles())
		a.serveAt(g, srv, func() error { return srv.Serve(d.profiles) })
	}
	return nil
}

func (a *App) server(g *group, h http.Handler) *http.Server {
	return &http.Server{
		Handler: h, ReadHeaderTimeout: 5 * time.Second, ReadTimeout: 30 * time.Second,
		WriteTimeout: time.Minute, IdleTimeout: 2 * time.Minute, MaxHeaderBytes: 64 << 10,
		BaseContext: func(net.Listener) context.Context { return g.ctx }, // streams of events end with it
		ErrorLog:    slog.NewLogLogger(a.log.Handler(), slog.LevelDebug), // what strangers send must not fill the log
	}
}

// serveAt serves until the group ends, and for a moment longer.
func (a *App) serveAt(g *group, srv *http.Server, serve func() error) {
	g.run(func(context.Context) {
		if err := serve(); !errors.Is(err, http.ErrServerClosed) {
			a.health.Part("pages", 0).Fails("serving pages ended: %v", err)
			a.warn("serving pages ended", err)
		}
	})
	g.run(func(ctx context.Context) {
		<-ctx.Done()
		c, cancel := context.WithTimeout(context.WithoutCancel(ctx), 2*time.Second)
		defer cancel()
		if srv.Shutdown(c) != nil {
			srv.Close()
		}
	})
}
