package main

import (
	"errors"
	"fmt"
	"os/user"

	"strokewise/cmd/internal/backup"
)

type backupCmd struct {
	Config string `placeholder:"FILE" help:"Configuration file, for its data folder."`
	Data   string `placeholder:"FOLDER" help:"Data folder, instead of a configuration."`
	Out    string `required:"" placeholder:"FOLDER|FILE.tar.gz" help:"Where to: a new folder, or a new archive."`
}

// Run copies the history; the program may be running.
func (c *backupCmd) Run(e *env) error {
	data, err := dataFolder(c.Config, c.Data)
	if err != nil {
		return err
	}
	m, err := backup.Write(e.ctx, data, c.Out, version())
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
}

// Run restores a backup; the program must not be running.
func (c *restoreCmd) Run(e *env) error {
	data, err := dataFolder(c.Config, c.Data)
	if err != nil {
		return err
	}
	r, err := backup.Restore(e.ctx, c.Backup, data, backup.RestoreOptions{Replace: c.Replace, KeepLog: c.KeepLog, Who: who()})
	if err != nil {
		return err
	}
	if r.Aside != "" {
		fmt.Fprintf(e.out, "what was there is now in %s\n", r.Aside)
	}
	_, err = fmt.Fprintf(e.out, "%s: history of %d stations, as of %s; start the program to go on from there\n", data, r.Stations, r.Made.Local().Format("2006-01-02 15:04:05"))
	return err
}

// dataFolder gives the folder that a command line means.
func dataFolder(cfg, data string) (string, error) {
	switch {
	case (cfg == "") == (data == ""):
		return "", errors.New("name either --config FILE or --data FOLDER")
	case data != "":
		return data, nil
	}
	c, err := load(cfg, false)
	if err != nil {
		return "", err
	}
	return c.Data, nil
}

// who names the person at the command line, for the audit.
func who() string {
	if u, err := user.Current(); err == nil {
		return u.Username
	}
	return "unknown"
}
