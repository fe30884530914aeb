package history

import (
	"bytes"
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/binary"
	"fmt"

	"strokewise/analyzer/station"
)

// Learned is what was learned of a station up to a position of the log, in a layout that every later
// version reads.
type Learned struct {
	Key      station.Key
	Position uint64          // 0: before all that the log holds
	At       station.Instant // newest step
	Blob     []byte
	Damaged  bool // its checksum does not match: of no use
}

// checksum covers what was learned, and of when it is. The position is left out: another log has others.
func (l *Learned) checksum() []byte {
	h := sha256.New()
	var head [8]byte
	binary.BigEndian.PutUint64(head[:], uint64(l.At))
	h.Write(head[:])
	h.Write(l.Blob)
	return h.Sum(nil)
}

// learned stores what was learned in the place of what was before.
func (tx *transaction) learned(l *Learned, position uint64) error {
	id, err := tx.id(l.Key)
	if err != nil {
		return err
	}
	_, err = tx.ExecContext(tx.ctx, `INSERT OR REPLACE INTO learned (station, position, at, checksum, blob) VALUES (?, ?, ?, ?, ?)`,
		id, int64(position), int64(l.At), l.checksum(), l.Blob)
	if err != nil {
		return fmt.Errorf("what was learned: %w", err)
	}
	return nil
}

// Learned returns what was learned of all stations.
func (s *Store) Learned(ctx context.Context) (map[station.Key]Learned, error) {
	out := make(map[station.Key]Learned)
	err := s.each(ctx, "what was learned", func(rows *sql.Rows) error {
		var l Learned
		var position int64
		var sum []byte
		if err := rows.Scan(&l.Key.Site, &l.Key.Station, &position, &l.At, &sum, &l.Blob); err != nil {
			return err
		}
		l.Position = uint64(position)
		l.Damaged = !bytes.Equal(sum, l.checksum())
		out[l.Key] = l
		return nil
	}, `SELECT s.site, s.station, l.position, l.at, l.checksum, l.blob FROM learned l JOIN stations s ON s.id = l.station`)
	if err != nil {
		return nil, err
	}
	return out, nil
}
