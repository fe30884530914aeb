package main

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"strokewise/cmd/internal/app"
	"strokewise/dashboards/trail"
)

// auditCmd is about the trail of what was asked.
type auditCmd struct {
	Verify auditVerifyCmd `cmd:"" help:"Check that no line of the trail was changed or taken out, and print its head. Exit code 1: it was."`
	Export auditExportCmd `cmd:"" help:"Write the trail as CSV."`
}

// trailOf is the trail that both concern.
type trailOf struct {
	Data string `required:"" placeholder:"DIR" help:"Data folder."`
}

// open hands the trail's file on, and names it where its chain breaks.
func (c *trailOf) open(do func(*os.File) error) error {
	path := filepath.Join(c.Data, app.TrailFile)
	f, err := os.Open(path)
	if err != nil {
		return fmt.Errorf("cannot read the audit trail: %w", err)
	}
	defer f.Close()
	err = do(f)
	var b *trail.Broken
	if errors.As(err, &b) {
		err = fmt.Errorf("%s: %w; up to there it is whole", path, b)
	}
	return err
}

type auditVerifyCmd struct {
	trailOf
	Head string `placeholder:"N:DIGEST" help:"A head that was noted earlier, and must still be a line of the trail."`
}

// Run verifies the trail.
func (c *auditVerifyCmd) Run(e *env) (err error) {
	var noted trail.Head
	if c.Head != "" {
		if noted, err = trail.ParseHead(c.Head); err != nil {
			return err
		}
	}
	var head trail.Head
	err = c.open(func(f *os.File) (err error) {
		head, err = trail.Walk(f, noted, func(*trail.Entry) error { return e.ctx.Err() })
		return err
	})
	return said(e, err, "%d entries, none changed or taken out; head %s", head.N, head)
}

type auditExportCmd struct{ trailOf }

// Run exports the trail.
func (c *auditExportCmd) Run(e *env) error {
	return c.open(func(f *os.File) error {
		_, err := trail.WriteCSV(e.out, f, e.ctx.Err)
		return err
	})
}
