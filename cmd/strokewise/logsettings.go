package main

import (
	"crypto/tls"
	"fmt"

	"strokewise/cmd/internal/app"
	"strokewise/cmd/internal/config"
	"strokewise/collector/samplelog"
)

// externalLog sets what the configuration says of a log at a server of its own.
func externalLog(o *app.Options, c *config.Log) (err error) {
	o.LogURL, o.LogPrefix, o.LeaseTTL = c.URL, c.Prefix, leaseTTL
	o.LogLogin = samplelog.Login{CredentialsFile: c.CredentialsFile, NKeyFile: c.NKeyFile, User: c.User}
	if c.PasswordFile != "" {
		o.LogLogin.Password = secretIn(c.PasswordFile)
	}
	if c.TokenFile != "" {
		o.LogLogin.Token = secretIn(c.TokenFile)
	}
	if c.Secure() {
		o.LogLogin.TLS, err = clientTLS(&c.TLS)
	}
	if err != nil || c.MACKeyFile == "" {
		return err
	}
	o.LogKeys, err = macKeys(append([]string{c.MACKeyFile}, c.MACOldKeyFiles...))
	return err
}

// secretIn returns what reads a secret from a file.
func secretIn(path string) func() (string, error) {
	return func() (string, error) {
		s, err := config.ReadSecret(path)
		return s.Reveal(), err
	}
}

// macKeys reads the keys of a log's entries; the first one signs new ones.
func macKeys(paths []string) ([]samplelog.Key, error) {
	var out []samplelog.Key
	for _, p := range paths {
		s, err := config.ReadSecret(p)
		if err != nil {
			return nil, err
		}
		out = append(out, samplelog.NewKey([]byte(s.Reveal())))
	}
	return out, nil
}

// clientTLS reads the files of a TLS connection.
func clientTLS(c *config.TLS) (*tls.Config, error) {
	out := &tls.Config{MinVersion: tls.VersionTLS12}
	var err error
	if out.RootCAs, err = authorities(c.CAFile); err != nil || c.CertFile == "" {
		return out, err
	}
	pair, err := tls.LoadX509KeyPair(c.CertFile, c.KeyFile)
	if err != nil {
		return nil, fmt.Errorf("cannot read client certificate: %w", err)
	}
	out.Certificates = []tls.Certificate{pair}
	return out, nil
}
