package history

import (
	"errors"
	"fmt"

	"modernc.org/sqlite"
)

// ErrFull is wrapped by what could not be stored because there was no room for it.
var ErrFull = errors.New("no room for the history")

// sqliteFull is SQLite's primary result code for a full disk.
const sqliteFull = 13

// full tells of a full disk in words; other errors stay as they are.
func full(err error) error {
	var e *sqlite.Error
	if !errors.As(err, &e) || e.Code()&0xff != sqliteFull {
		return err
	}
	return fmt.Errorf("%w: the disk is full, and nothing of this has been stored; make room, then it can be stored: %w", ErrFull, err)
}
