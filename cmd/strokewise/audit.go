package main

import (
	"encoding/csv"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"time"

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

// walk goes through the trail.
func (c *trailOf) walk(noted trail.Head, each func(*trail.Entry) error) (trail.Head, error) {
	path := filepath.Join(c.Data, app.TrailFile)
	f, err := os.Open(path)
	if err != nil {
		return trail.Head{}, fmt.Errorf("cannot read the audit trail: %w", err)
	}
	defer f.Close()
	head, err := trail.Walk(f, noted, each)
	var b *trail.Broken
	if errors.As(err, &b) {
		err = fmt.Errorf("%s: %w; up to there it is whole", path, b)
	}
	return head, err
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
	head, err := c.walk(noted, func(*trail.Entry) error { return e.ctx.Err() })
	return said(e, err, "%d entries, none changed or taken out; head %s", head.N, head)
}

type auditExportCmd struct{ trailOf }

// Run exports the trail.
func (c *auditExportCmd) Run(e *env) error {
	w := csv.NewWriter(e.out)
	err := w.Write([]string{"n", "at", "who", "known by", "from", "what", "target", "detail", "outcome"})
	if err == nil {
		_, err = c.walk(trail.Head{}, func(x *trail.Entry) error {
			if err := e.ctx.Err(); err != nil {
				return err
			}
			return w.Write([]string{strconv.FormatInt(x.N, 10), x.At.Format(time.RFC3339Nano), cell(x.Who), cell(x.By), cell(x.From), cell(x.What), cell(x.Target), cell(x.Detail), cell(x.Outcome)})
		})
	}
	w.Flush()
	return errors.Join(err, w.Error())
}

// cell returns a text that no spreadsheet takes for a formula.
func cell(text string) string {
	if text != "" && strings.ContainsRune("=+-@\t\r", rune(text[0])) {
		return "'" + text
	}
	return text
}
