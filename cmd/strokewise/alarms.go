package main

import (
	"fmt"
	"strings"
	"time"

	"strokewise/analyzer/station"
	"strokewise/cmd/internal/config"
	"strokewise/rules"
)

type alarmsCmd struct {
	List       alarmsListCmd       `cmd:"" default:"1" help:"List the alarms of the catalogue."`
	Explain    alarmsExplainCmd    `cmd:"" help:"Print everything about one alarm."`
	Quantities alarmsQuantitiesCmd `cmd:"" help:"List what conditions can name."`
	Test       alarmsTestCmd       `cmd:"" help:"Play rule scripts and report what differs from what they expect."`
	Backtest   backtestCmd         `cmd:"" help:"Show what the alarms, present or changed, would have raised over what the log holds."`
}

type alarmsListCmd struct{}

// Run lists the catalogue.
func (alarmsListCmd) Run(e *env) error {
	for _, d := range append(rules.Catalogue(), rules.HeaderCatalogue()...) {
		what := d.Condition
		if what == "" {
			what = "(code) " + strings.Join(strings.Fields(d.Code), " ")
		}
		if _, err := fmt.Fprintf(e.out, "%-19s %-8s %s\n", d.Name, d.Priority, what); err != nil {
			return err
		}
	}
	return nil
}

type alarmsExplainCmd struct {
	Name string `arg:"" help:"The alarm's name."`
}

// Run prints one definition.
func (c *alarmsExplainCmd) Run(e *env) error {
	var found []string
	for _, set := range [...]struct {
		of   string
		list []rules.Definition
	}{{"a station", rules.Catalogue()}, {"a header or a site as a whole", rules.HeaderCatalogue()}} {
		for i := range set.list {
			if d := &set.list[i]; d.Name == c.Name {
				found = append(found, explain(d, set.of))
			}
		}
	}
	if found != nil {
		_, err := fmt.Fprint(e.out, strings.Join(found, "\n"))
		return err
	}
	hint := "`strokewise alarms` lists them"
	if n := rules.Nearest(c.Name); n != "" {
		hint = fmt.Sprintf("did you mean %q?", n)
	}
	return fmt.Errorf("no alarm is called %q; %s", c.Name, hint)
}

// explain returns a definition as lines of name and text, with what it is an alarm of; what it does
// not say is left out.
func explain(d *rules.Definition, of string) string {
	var b strings.Builder
	line := func(name, text string) {
		if text != "" {
			fmt.Fprintf(&b, "%-14s %s\n", name, text)
		}
	}
	line("alarm", d.Name)
	line("of", of)
	line("priority", d.Priority.String())
	if d.RespondNs > 0 {
		line("because", fmt.Sprintf("severity %s, to be responded to within %s", d.Severity, length(d.RespondNs)))
	}
	if d.PriorityCharged > d.Priority {
		line("while charged", d.PriorityCharged.String()+": where the outlet was last believed charged")
	}
	line("raised when", d.Condition+d.Code)
	line("cleared when", d.Clear)
	line("for", length(d.DelayNs))
	line("frozen in", stateList(d.FrozenIn))
	if len(d.SuppressedIn) > 0 {
		line("suppressed in", fmt.Sprintf("%s, for %s at most", stateList(d.SuppressedIn), length(d.SuppressNs)))
	}
	line("explained by", strings.Join(d.ExplainedBy, ", "))
	line("shelved", fmt.Sprintf("%s at most", length(d.ShelveAtMost)))
	if d.RemindNs > 0 {
		again := length(d.RemindNs)
		if d.RemindAckNs > 0 {
			again += ", once acknowledged every " + length(d.RemindAckNs)
		}
		line("reminds every", again)
	}
	if d.FailSafe {
		line("fail-safe", "never suppressed, explained away or out of service")
	}
	line("consequence", d.Consequence)
	for i, c := range d.Causes {
		line(fmt.Sprintf("cause %d", i+1), c)
	}
	line("check first", d.CheckFirst)
	line("respond in", d.RespondIn)
	line("caution", d.Caution)
	line("runbook", d.Runbook)
	return b.String()
}

// length returns a time (ns) in the units in which it is a whole number.
func length(ns int64) string {
	d := time.Duration(ns)
	switch {
	case d == 0:
		return "0 s"
	case d%(24*time.Hour) == 0:
		return fmt.Sprintf("%d d", d/(24*time.Hour))
	case d%time.Hour == 0:
		return fmt.Sprintf("%d h", d/time.Hour)
	case d%time.Minute == 0:
		return fmt.Sprintf("%d min", d/time.Minute)
	case d%time.Second == 0:
		return fmt.Sprintf("%d s", d/time.Second)
	}
	return d.String()
}

func stateList(states []station.State) string {
	var words []string
	for _, s := range states {
		words = append(words, s.String())
	}
	return strings.Join(words, ", ")
}

type alarmsQuantitiesCmd struct{}

// Run lists the quantities.
func (alarmsQuantitiesCmd) Run(e *env) error {
	for _, q := range rules.Quantities() {
		if _, err := fmt.Fprintf(e.out, "%-38s %-11s %s\n", q.Name, q.Unit, q.What); err != nil {
			return err
		}
	}
	return nil
}

type alarmsTestCmd struct {
	Files []string `arg:"" placeholder:"FILE" help:"Rule scripts (YAML)."`
}

// Run plays the scripts of all files.
func (c *alarmsTestCmd) Run(e *env) error {
	played, failed := 0, 0
	for _, file := range c.Files {
		if err := e.ctx.Err(); err != nil {
			return err
		}
		text, err := config.ReadText(file)
		if err != nil {
			return fmt.Errorf("cannot read rule scripts: %w", err)
		}
		outcomes, err := rules.RunScripts(file, text)
		if err != nil {
			return err
		}
		for _, o := range outcomes {
			played++
			if len(o.Faults) == 0 {
				continue
			}
			failed++
			fmt.Fprintf(e.out, "%s\n", o.Name)
			for _, f := range o.Faults {
				fmt.Fprintf(e.out, "  %s\n", f)
			}
		}
	}
	if failed > 0 {
		return fmt.Errorf("%d of %d scripts went otherwise than expected", failed, played)
	}
	_, err := fmt.Fprintf(e.out, "%d scripts went as expected\n", played)
	return err
}
