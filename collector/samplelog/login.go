package samplelog

import (
	"crypto/tls"

	"github.com/nats-io/nats.go"
)

// Login is how we make ourselves known to an external server, and how it does to us. At most one
// way is set. Files and secrets are read again at each connection, so that they can be renewed.
type Login struct {
	CredentialsFile string                 // a JWT and its seed, as the server's operator hands them out
	NKeyFile        string                 // a seed
	User            string                 // with Password
	Password        func() (string, error) // nil: none
	Token           func() (string, error) // nil: none
	TLS             *tls.Config            // nil: as the URL says
}

// options returns those of the client.
func (l *Login) options() ([]nats.Option, error) {
	var out []nats.Option
	if l.TLS != nil {
		out = append(out, nats.Secure(l.TLS))
	}
	switch {
	case l.CredentialsFile != "":
		out = append(out, nats.UserCredentials(l.CredentialsFile))
	case l.NKeyFile != "":
		o, err := nats.NkeyOptionFromSeed(l.NKeyFile)
		if err != nil {
			return nil, err
		}
		out = append(out, o)
	case l.User != "":
		out = append(out, nats.UserInfoHandler(func() (string, string) { return l.User, revealed(l.Password) }))
	case l.Token != nil:
		out = append(out, nats.TokenHandler(func() string { return revealed(l.Token) }))
	}
	return out, nil
}

// revealed returns a secret; one that cannot be read is empty, and the server refuses it.
func revealed(secret func() (string, error)) string {
	if secret == nil {
		return ""
	}
	s, err := secret()
	if err != nil {
		return ""
	}
	return s
}
