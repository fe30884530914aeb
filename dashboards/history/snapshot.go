package history

import (
	"bytes"
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/binary"
	"errors"
	"fmt"
)

// Snapshot is the state of a partition's engines at a log position, in the layout that
// Schema and Engine name.
type Snapshot struct {
	Position uint64
	Schema   string
	Engine   string
	Blob     []byte
}

// checksum covers all of the snapshot.
func (s *Snapshot) checksum() []byte {
	h := sha256.New()
	var head [8]byte
	binary.BigEndian.PutUint64(head[:], s.Position)
	h.Write(head[:])
	fmt.Fprintf(h, "%q%q", s.Schema, s.Engine)
	h.Write(s.Blob)
	return h.Sum(nil)
}

// SaveSnapshot stores the state of a partition's engines in the place of the one before.
// It is not part of a commit and may be older than the partition's position.
func (s *Store) SaveSnapshot(ctx context.Context, partition int, position uint64, schema, engine string, blob []byte) error {
	n := Snapshot{Position: position, Schema: schema, Engine: engine, Blob: blob}
	s.mu.Lock()
	defer s.mu.Unlock()
	if err := full(s.met(saveSnapshot(ctx, s.write, partition, &n))); err != nil {
		return fmt.Errorf("cannot store snapshot of partition %d in history database %q: %w", partition, s.path, err)
	}
	return nil
}

// saveSnapshot stores a snapshot by a connection or within a transaction.
func saveSnapshot(ctx context.Context, db interface {
	ExecContext(ctx context.Context, query string, args ...any) (sql.Result, error)
}, partition int, n *Snapshot) error {
	if n.Blob == nil {
		n.Blob = []byte{}
	}
	_, err := db.ExecContext(ctx, `INSERT OR REPLACE INTO snapshots (partition, position, schema, engine, checksum, blob) VALUES (?, ?, ?, ?, ?, ?)`,
		partition, int64(n.Position), n.Schema, n.Engine, n.checksum(), n.Blob)
	return err
}

// LoadSnapshot gives the newest snapshot of a partition, and false where there is none.
// A damaged one counts as none, and the error tells of it: the caller logs it and
// rebuilds from the log.
func (s *Store) LoadSnapshot(ctx context.Context, partition int) (Snapshot, bool, error) {
	var n Snapshot
	var position int64
	var sum []byte
	err := s.read.QueryRowContext(ctx, `SELECT position, schema, engine, checksum, blob FROM snapshots WHERE partition = ?`, partition).
		Scan(&position, &n.Schema, &n.Engine, &sum, &n.Blob)
	if errors.Is(err, sql.ErrNoRows) {
		return Snapshot{}, false, nil
	}
	if err != nil {
		return Snapshot{}, false, fmt.Errorf("cannot read snapshot of partition %d from history database %q: %w", partition, s.path, err)
	}
	n.Position = uint64(position)
	if !bytes.Equal(sum, n.checksum()) {
		return Snapshot{}, false, fmt.Errorf("snapshot of partition %d in history database %q is damaged: its checksum does not match", partition, s.path)
	}
	return n, true, nil
}
