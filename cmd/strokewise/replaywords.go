package main

import (
	"bytes"
	"cmp"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"time"

	"go.yaml.in/yaml/v3"

	"strokewise/analyzer/station"
	"strokewise/cmd/internal/pipeline"
	"strokewise/rules"
)

// wordTick is how often the passing of time is judged while people are declared at work, as in a running program.
const wordTick = 5 * station.Second

// mostWords bounds the file of words, bytes.
const mostWords = 1 << 20

// replayWord is a person's word as the file of a replay has it.
type replayWord struct {
	At    time.Time `yaml:"at"`
	Say   string    `yaml:"say"`
	Alarm string    `yaml:"alarm"`
	By    string    `yaml:"by"`
	Until time.Time `yaml:"until"`
	Why   string    `yaml:"why"`
	Cause string    `yaml:"cause"`
}

// words are what people said, in order of time, and what became of it.
type words struct {
	file    string
	list    []replayWord
	refused []string
	ticked  station.Instant
}

// readWords reads a list of words; "" is none.
func readWords(path string) (*words, error) {
	w := &words{file: path}
	if path == "" {
		return w, nil
	}
	f, err := os.Open(path)
	if err != nil {
		return nil, fmt.Errorf("cannot read words: %w", err)
	}
	defer f.Close()
	text, err := io.ReadAll(io.LimitReader(f, mostWords+1))
	switch {
	case err != nil:
		return nil, fmt.Errorf("cannot read words: %w", err)
	case len(text) > mostWords:
		return nil, fmt.Errorf("cannot read words %s: it exceeds %d bytes", path, mostWords)
	}
	d := yaml.NewDecoder(bytes.NewReader(text))
	d.KnownFields(true)
	if err := d.Decode(&w.list); err != nil && !errors.Is(err, io.EOF) {
		return nil, fmt.Errorf("cannot read words %s: %w; write a list as in [{at: 2026-01-10T09:00:00Z, say: at-work, by: Ada, until: 2026-01-10T12:00:00Z, why: changing seals}]", path, err)
	}
	for i := range w.list {
		if _, err := w.list[i].command(); err != nil {
			return nil, fmt.Errorf("cannot read words %s: entry %d: %w", path, i+1, err)
		}
	}
	slices.SortStableFunc(w.list, func(a, b replayWord) int { return a.At.Compare(b.At) })
	return w, nil
}

// command returns the word as the log would hold it.
func (r *replayWord) command() (station.Command, error) {
	c := station.Command{Kind: r.Say, Alarm: r.Alarm, By: r.By, Note: r.Why}
	_, known := rules.FindOrder(r.Say)
	cause, ok := station.ParseCause(r.Cause)
	switch {
	case r.At.IsZero():
		return c, errors.New("at is missing: write a time as in 2026-01-10T09:00:00Z")
	case !known:
		return c, fmt.Errorf("say is %.40q: expected a command, as in at-work, work-ended, vented or acknowledge", r.Say)
	case r.By == "":
		return c, errors.New("by is missing: name the person")
	case r.Cause != "" && !ok:
		return c, fmt.Errorf("cause is %.40q: expected one of the causes that `strokewise alarm close --help` lists", r.Cause)
	}
	if c.Cause = cause; !r.Until.IsZero() {
		c.Until = station.InstantOf(r.Until)
	}
	return c, nil
}

// pass gives units what was said before a time of the trace, and lets time pass while people are at work.
func (w *words) pass(now station.Instant, units ...*pipeline.Unit) {
	for len(w.list) > 0 && station.InstantOf(w.list[0].At) <= now {
		at := station.InstantOf(w.list[0].At)
		w.tick(at, units)
		c, _ := w.list[0].command()
		for i, u := range units {
			said := c
			if err := u.Command(&said, at); err != nil && i == 0 {
				w.refused = append(w.refused, fmt.Sprintf("%s %s by %s: %v", second(at), c.Kind, c.By, err))
			}
		}
		w.list = w.list[1:]
	}
	w.tick(now, units)
}

// tick lets time pass up to now.
func (w *words) tick(now station.Instant, units []*pipeline.Unit) {
	if len(units[0].AtWork()) == 0 {
		w.ticked = now
		return
	}
	for w.ticked = cmp.Or(w.ticked, now); w.ticked.Add(wordTick) <= now; {
		w.ticked = w.ticked.Add(wordTick)
		for _, u := range units {
			u.Tick(w.ticked)
		}
	}
}

// tell prints the words that were refused, and those that come after the trace.
func (w *words) tell(out io.Writer) {
	for _, r := range w.refused {
		fmt.Fprintf(out, "refused: %s\n", r)
	}
	if n := len(w.list); n > 0 {
		fmt.Fprintf(out, "%d words of %s come after the trace's end and were not said\n", n, w.file)
	}
}
