package main

import (
	"cmp"
	"errors"
	"fmt"
	"os/user"

	"strokewise/cmd/internal/backup"
	"strokewise/cmd/internal/progress"
)

type backupCmd struct {
	Config string `placeholder:"FILE" help:"Configuration file, for its data folder."`
	Data   string `placeholder:"FOLDER" help:"Data folder, instead of a configuration."`
	Out    string `required:"" placeholder:"FOLDER|FILE.tar.gz" help:"Where to: a new folder, or a new archive."`
	keyFlag
}

// keyFlag names the key of backups.
type keyFlag struct {
	KeyFile string `placeholder:"FILE" help:"Key of 32 bytes or more that backups are signed with; a restore refuses others. Instead of history.backup_key_file of the configuration."`
}

// Run copies the history; the program may be running.
func (c *backupCmd) Run(e *env) error {
	defer private()()
	data, key, err := c.dataAndKey(c.Config, c.Data)
	if err != nil {
		return err
	}
	shown := progress.NewStages(e.err, progress.Bytes)
	defer shown.End()
	m, err := backup.Write(e.ctx, data, c.Out, backup.WriteOptions{Program: version(), Key: key, Progress: shown.Set, Unfinished: e.end.unfinished})
	shown.End()
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(e.out, "%s: history of %d stations, %.1f MB, as of %s\n", c.Out, m.Stations, float64(m.Bytes)/1e6, m.Made.Local().Format("2006-01-02 15:04:05"))
	return err
}

type restoreCmd struct {
	Config  string `placeholder:"FILE" help:"Configuration file, for its data folder."`
	Data    string `placeholder:"FOLDER" help:"Data folder, instead of a configuration."`
	Replace bool   `help:"Move what the data folder holds aside, into a folder within it."`
	KeepLog bool   `help:"With --replace: let the sample log stay. What it holds beyond the backup is worked off again."`
	Backup  string `arg:"" help:"The backup: a folder, or an archive."`
	keyFlag
}

// Run restores a backup; the program must not be running.
func (c *restoreCmd) Run(e *env) error {
	defer private()()
	data, key, err := c.dataAndKey(c.Config, c.Data)
	if err != nil {
		return err
	}
	shown := progress.NewStages(e.err, progress.Bytes)
	defer shown.End()
	r, err := backup.Restore(e.ctx, c.Backup, data, backup.RestoreOptions{Replace: c.Replace, KeepLog: c.KeepLog, Who: who(), Key: key, Progress: shown.Set, Unfinished: e.end.unfinished})
	shown.End()
	if err != nil {
		return err
	}
	if r.Aside != "" {
		fmt.Fprintf(e.out, "what was there is now in %s\n", r.Aside)
	}
	_, err = fmt.Fprintf(e.out, "%s: history of %d stations, as of %s; start the program to go on from there\n", data, r.Stations, r.Made.Local().Format("2006-01-02 15:04:05"))
	return err
}

// dataAndKey returns the folder that a command line means, and the key of its backups, nil: none.
func (k *keyFlag) dataAndKey(cfg, data string) (string, backup.Key, error) {
	file := k.KeyFile
	switch {
	case (cfg == "") == (data == ""):
		return "", nil, errors.New("name either --config FILE or --data FOLDER")
	case cfg != "":
		c, err := load(cfg, false)
		if err != nil {
			return "", nil, err
		}
		data, file = c.Data, cmp.Or(file, c.History.BackupKeyFile)
	}
	if file == "" {
		return data, nil, nil
	}
	key, err := backup.ReadKey(file)
	return data, key, err
}

// who names the person at the command line, for the audit.
func who() string {
	if u, err := user.Current(); err == nil {
		return u.Username
	}
	return "unknown"
}
