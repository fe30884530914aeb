package app

import (
	"context"
	"fmt"
	"path/filepath"

	"strokewise/cmd/internal/backup"
	"strokewise/dashboards/history"
)

// beforeSchema begins the names of the backups that are made before a migration.
const beforeSchema = "before-schema-"

// backUpOldSchema makes a backup of a history whose schema this program is about to change, within the
// data folder. An older program cannot read the changed one: it restores this backup.
func (a *App) backUpOldSchema(ctx context.Context) error {
	path := filepath.Join(a.opt.Data, "history.db")
	have, err := history.SchemaOf(ctx, path)
	if err != nil || have == 0 || have >= history.Schema() {
		return err
	}
	// the time is part of the name: an older program may have gone on with the history since the last try
	out := filepath.Join(a.opt.Data, fmt.Sprintf("%s%d-%s", beforeSchema, history.Schema(), a.time().UTC().Format("20060102T150405.000Z")))
	m, err := backup.Write(ctx, a.opt.Data, out, backup.WriteOptions{Program: a.opt.Version, Key: a.opt.BackupKey})
	if err != nil {
		return fmt.Errorf("cannot back up the history before its schema changes from version %d to %d: %w; nothing was changed", have, history.Schema(), err)
	}
	a.log.Info("backup made before the history's schema changes; remove it once this version has proved itself",
		"backup", out, "from", have, "to", history.Schema(), "bytes", m.Bytes)
	return nil
}
