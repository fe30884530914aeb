package samplelog

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"

	"github.com/nats-io/nats.go/jetstream"
)

// idKey names, in the stream's metadata, the log's identity: positions of one log mean
// nothing in another.
const idKey = "strokewise-log"

// metadata returns what the stream that is there says of itself, and its end; nothing where there is none.
func (j *JetStream) metadata(ctx context.Context) (have map[string]string, last uint64, err error) {
	s, err := j.js.Stream(ctx, j.names.stream)
	switch {
	case errors.Is(err, jetstream.ErrStreamNotFound):
		return nil, 0, nil
	case err != nil:
		return nil, 0, fmt.Errorf("cannot read the identity of the sample log: %w", err)
	}
	return s.CachedInfo().Config.Metadata, s.CachedInfo().State.LastSeq, nil
}

// withID gives a stream's configuration an identity if it has none.
func withID(cfg jetstream.StreamConfig, have map[string]string) jetstream.StreamConfig {
	id := have[idKey]
	if id == "" {
		id = rand.Text()
	}
	cfg.Metadata = map[string]string{idKey: id}
	if since := have[sinceKey]; since != "" {
		cfg.Metadata[sinceKey] = since
	}
	return cfg
}

// ID gives the log's identity: a new log, and one that Renew was called on, has another.
// A copy of the log's folder has the same.
func (j *JetStream) ID(ctx context.Context) (string, error) {
	i, err := j.stream.Info(ctx)
	if err != nil {
		return "", fmt.Errorf("cannot read the identity of the sample log: %w", err)
	}
	return i.Config.Metadata[idKey], nil
}

// Renew gives the log a new identity, for a history that begins to count in it anew:
// positions that were noted before are told from those noted from now on.
func (j *JetStream) Renew(ctx context.Context) (string, error) {
	i, err := j.stream.Info(ctx)
	if err != nil {
		return "", fmt.Errorf("cannot read the identity of the sample log: %w", err)
	}
	if j.stream, err = j.js.UpdateStream(ctx, withID(i.Config, map[string]string{sinceKey: i.Config.Metadata[sinceKey]})); err != nil {
		return "", fmt.Errorf("cannot give the sample log a new identity: %w", err)
	}
	id, err := j.ID(ctx)
	if err == nil {
		j.mark.renamed(id)
	}
	return id, err
}

// Lock keeps other processes off a log's folder, as an open log does, until the function
// that it gives is called.
func Lock(dir string) (unlock func() error, err error) {
	l, err := lockDir(dir)
	if err != nil {
		return nil, err
	}
	return l.Close, nil
}
