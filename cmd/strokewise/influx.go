package main

import (
	"crypto/tls"
	"crypto/x509"
	"fmt"
	"os"

	"strokewise/cmd/internal/config"
	"strokewise/dashboards/influx"
)

// exporter turns the configuration of the export into its options, nil where there is none.
func exporter(c *config.Influx) (*influx.Options, error) {
	if c.URL == "" {
		return nil, nil
	}
	o := &influx.Options{URL: c.URL, Org: c.Org, Bucket: c.Bucket, Keep: c.Keep, TLS: &tls.Config{MinVersion: tls.VersionTLS12}}
	var err error
	if o.TLS.RootCAs, err = authorities(c.CAFile); err != nil {
		return nil, err
	}
	if path := c.TokenFile; path != "" {
		o.Token = func() (string, error) {
			s, err := config.ReadSecret(path)
			return s.Reveal(), err
		}
		if _, err := o.Token(); err != nil {
			return nil, err
		}
	}
	return o, nil
}

// authorities reads certificate authorities, PEM; nil, the system's, where no file is named.
func authorities(path string) (*x509.CertPool, error) {
	if path == "" {
		return nil, nil
	}
	pem, err := os.ReadFile(path)
	if err != nil {
		return nil, fmt.Errorf("cannot read certificate authorities: %w", err)
	}
	pool := x509.NewCertPool()
	if !pool.AppendCertsFromPEM(pem) {
		return nil, fmt.Errorf("cannot read certificate authorities %q: it holds no PEM certificate", path)
	}
	return pool, nil
}
