package samplelog

import (
	"context"
	"errors"
	"fmt"

	"github.com/nats-io/nats.go/jetstream"
)

// besidePending bounds the entries of streams beside the samples' that are published and not yet stored.
const besidePending = 512

// Beside is access to streams that lie on the samples' servers and are no part of the log.
type Beside struct {
	JS  jetstream.JetStream
	log *JetStream
}

// Beside returns access to streams beside the samples'.
func (j *JetStream) Beside() (*Beside, error) {
	js, err := jetstream.New(j.conn, jetstream.WithPublishAsyncMaxPending(besidePending), jetstream.WithPublishAsyncTimeout(answerWait))
	if err != nil {
		return nil, fmt.Errorf("cannot use the sample log's servers: %w", err)
	}
	return &Beside{JS: js, log: j}, nil
}

// Name returns what something beside the samples is called at the servers, by the log's prefix.
func (b *Beside) Name(what string) string { return b.log.names.prefix + "_v1_" + what }

// Subject returns a subject beside the samples'.
func (b *Beside) Subject(what string) string { return b.log.names.prefix + ".v1." + what }

// Stream makes a stream, or brings it up to c. It lies on as many servers as the samples.
func (b *Beside) Stream(ctx context.Context, c jetstream.StreamConfig) (s jetstream.Stream, err error) {
	err = b.log.replicas(ctx, c.Name, func(n int) (err error) {
		c.Replicas = n
		s, err = b.JS.CreateOrUpdateStream(ctx, c)
		return err
	})
	if err != nil {
		return nil, fmt.Errorf("cannot make the stream %s beside the sample log: %w", c.Name, err)
	}
	return s, nil
}

// NewestEntry returns the newest entry of a partition, false where it has none.
func (j *JetStream) NewestEntry(ctx context.Context, partition int) (Entry, bool, error) {
	m, err := j.stream.GetLastMsgForSubject(ctx, j.names.subject(partition))
	if errors.Is(err, jetstream.ErrMsgNotFound) {
		return Entry{}, false, nil
	}
	if err != nil {
		return Entry{}, false, fmt.Errorf("cannot read the end of partition %d of the sample log: %w", partition, err)
	}
	records, err := j.decode(partition, m.Sequence, m.Header, m.Data)
	if err != nil {
		return Entry{}, false, fmt.Errorf("cannot read position %d of the sample log: %w: %w", m.Sequence, ErrEntry, err)
	}
	return Entry{Position: m.Sequence, Records: records}, true, nil
}
