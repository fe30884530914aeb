package app

import (
	"crypto/tls"
	"fmt"
	"log/slog"
	"os"
	"sync"
	"time"
)

// certificate is a certificate with its key, read again once a file has changed: a renewal needs no
// restart.
type certificate struct {
	certFile, keyFile string
	log               *slog.Logger

	mu    sync.Mutex
	pair  *tls.Certificate
	state [2]fileState
}

// fileState says whether a file is still the same.
type fileState struct {
	size     int64
	modified time.Time
}

func openCertificate(certFile, keyFile string, log *slog.Logger) (*certificate, error) {
	c := &certificate{certFile: certFile, keyFile: keyFile, log: log}
	c.state = c.now()
	pair, err := tls.LoadX509KeyPair(certFile, keyFile)
	if err != nil {
		return nil, fmt.Errorf("cannot read the pages' certificate: %w", err)
	}
	c.pair = &pair
	return c, nil
}

func (c *certificate) now() (s [2]fileState) {
	for i, path := range [2]string{c.certFile, c.keyFile} {
		if info, err := os.Stat(path); err == nil {
			s[i] = fileState{info.Size(), info.ModTime()}
		}
	}
	return s
}

// get returns the certificate for a connection. While the files do not belong together, as between
// the writing of one and the other, the earlier pair serves.
func (c *certificate) get(*tls.ClientHelloInfo) (*tls.Certificate, error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if s := c.now(); s != c.state {
		c.state = s
		pair, err := tls.LoadX509KeyPair(c.certFile, c.keyFile)
		if err != nil {
			c.log.Warn("the pages' certificate has changed and cannot be used; the earlier one serves", "error", err)
			return c.pair, nil
		}
		c.pair = &pair
		c.log.Info("the pages' certificate was read again", "ends", pair.Leaf.NotAfter)
	}
	return c.pair, nil
}
