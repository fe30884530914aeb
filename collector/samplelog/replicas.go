package samplelog

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"maps"

	"github.com/nats-io/nats.go/jetstream"
)

// wantReplicas is on how many servers of an external cluster the log is kept: with three,
// one of them may be lost without losing an entry or the ability to append.
const wantReplicas = 3

// Codes by which a server refuses replicas.
const (
	codeNoReplicas = jetstream.ErrorCode(10074) // a server of its own, no cluster
	codeNoPeers    = jetstream.ErrorCode(10005) // the cluster has fewer servers, or too few are up
	codeResources  = jetstream.ErrorCode(10023)
)

// replicated calls make with the most replicas that the servers take, at most
// wantReplicas, and never fewer than there are already.
func replicated(have int, log *slog.Logger, what string, make func(replicas int) error) error {
	n := max(wantReplicas, have)
	err := make(n)
	if !refusesReplicas(err) || n <= max(have, 1) {
		return err
	}
	if !isCode(err, codeNoReplicas) {
		log.Warn("the sample log's cluster takes no three replicas now: what is kept on one server is lost with it; have three servers up and restart",
			"of", what, "error", err)
	}
	return make(max(have, 1))
}

func refusesReplicas(err error) bool {
	return isCode(err, codeNoReplicas) || isCode(err, codeNoPeers) || isCode(err, codeResources)
}

func isCode(err error, code jetstream.ErrorCode) bool {
	var api *jetstream.APIError
	return errors.As(err, &api) && api.ErrorCode == code
}

// openStream makes the stream, or brings it up to the options. Embedded there is one copy.
func (j *JetStream) openStream(ctx context.Context) error {
	have, last, err := j.metadata(ctx)
	if err != nil {
		return err
	}
	since, signed, err := signedSince(j.opt.Keys, have, last)
	if err != nil {
		return err
	}
	have = maps.Clone(have)
	if j.since = since; signed != "" {
		if have == nil {
			have = map[string]string{}
		}
		have[sinceKey] = signed
	}
	c := withID(jetstream.StreamConfig{
		Name: j.names.stream, Subjects: j.names.all(), Storage: jetstream.FileStorage,
		Retention: jetstream.LimitsPolicy, Discard: jetstream.DiscardNew, MaxBytes: j.opt.MaxBytes,
		AllowDirect: true, Description: "strokewise samples, see the project's documentation",
	}, have)
	set := func(n int) (err error) {
		c.Replicas = n
		j.stream, err = j.js.CreateOrUpdateStream(ctx, c)
		return err
	}
	if err := j.replicas(ctx, j.names.stream, set); err != nil {
		return fmt.Errorf("cannot make the sample log's stream: %w", err)
	}
	return nil
}

// replicas calls set with the number of replicas that the named stream should have.
func (j *JetStream) replicas(ctx context.Context, name string, set func(int) error) error {
	if j.opt.URL == "" {
		return set(1)
	}
	have := 0
	s, err := j.js.Stream(ctx, name)
	switch {
	case errors.Is(err, jetstream.ErrStreamNotFound):
	case err != nil:
		return err
	default:
		have = s.CachedInfo().Config.Replicas
	}
	return replicated(have, j.opt.Logger, name, set)
}
