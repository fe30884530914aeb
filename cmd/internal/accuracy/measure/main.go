// Command measure runs the accuracy gate: recordings with truth and stations drawn at random go
// through the analyzer, and a table states how far its conclusions are from the truth.
package main

import (
	"errors"
	"flag"
	"fmt"
	"io"
	"math"
	"os"
	"runtime"

	"strokewise/cmd/internal/accuracy"
	"strokewise/collector/rig/draw"
)

// options are the command's flags.
type options struct {
	set                draw.Set
	stations, workers  int
	recordings, each   bool
	text, file, before string
	from, kind         string
	mistakes           int
}

func main() {
	o, err := parse(os.Args[1:], os.Stderr)
	if errors.Is(err, flag.ErrHelp) {
		os.Exit(2)
	}
	if err == nil {
		err = o.run(os.Stdout, os.Stderr)
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, "measure:", err)
		os.Exit(1)
	}
}

// parse reads the flags.
func parse(args []string, errs io.Writer) (o options, err error) {
	fs := flag.NewFlagSet("measure", flag.ContinueOnError)
	fs.SetOutput(errs)
	set := fs.String("set", "tune", "set of the drawn stations: tune, check (totals only) or report (to publish only)")
	fs.IntVar(&o.stations, "n", 240, "number of drawn stations")
	fs.StringVar(&o.kind, "kind", "", "draw -n stations of this kind alone, without the recordings; of the tune set")
	fs.BoolVar(&o.recordings, "recordings", false, "leave the drawn stations out")
	fs.IntVar(&o.mistakes, "mistakes", 0, "instead play mistakes in plate data and sensors on so many stations of the set, an hour each")
	fs.BoolVar(&o.each, "each", false, "print a line for each case instead of the table; not of the sets check and report")
	fs.IntVar(&o.workers, "workers", runtime.GOMAXPROCS(0), "cases at a time; the result does not depend on it")
	fs.StringVar(&o.text, "out", "", "also write the table to this file")
	fs.StringVar(&o.file, "json", "", "also write the table to this file, for machines")
	fs.StringVar(&o.before, "before", "", "table for machines of the release before, to stand beside this one")
	fs.StringVar(&o.from, "from", "", "print this table for machines instead of measuring")
	if err := fs.Parse(args); err != nil {
		return o, err
	}
	if o.set, err = draw.ParseSet(*set); err != nil {
		return o, err
	}
	if o.recordings {
		o.stations = 0
	}
	if o.kind != "" && (o.set != draw.Tune || o.recordings) {
		return o, errors.New("cannot measure one kind alone but of drawn stations of the tune set: use -set tune without -recordings")
	}
	if o.each && o.stations > 0 && o.set != draw.Tune {
		return o, fmt.Errorf("cannot print each station of set %s: who looks at single ones tunes to them; use -set tune", o.set)
	}
	return o, nil
}

// run measures and prints.
func (o *options) run(out, progress io.Writer) error {
	if o.from != "" {
		t, err := accuracy.ReadTable(o.from)
		if err != nil {
			return err
		}
		return o.write(out, t)
	}
	if o.mistakes > 0 {
		all := accuracy.Mistaken(o.set, o.mistakes, math.MaxInt, o.workers, func(done int) { fmt.Fprintf(progress, "%d of %d stations\n", done, o.mistakes) })
		return o.publish(out, accuracy.MistakesText(o.set.String(), accuracy.SumMistakes(all)))
	}
	cases, err := o.cases()
	if err != nil {
		return err
	}
	outcomes, err := accuracy.Run(cases, o.workers, func(done int) {
		if done%20 == 0 || done == len(cases) {
			fmt.Fprintf(progress, "%d of %d cases\n", done, len(cases))
		}
	})
	if err != nil {
		return err
	}
	if o.each {
		return o.publish(out, accuracy.Each(outcomes))
	}
	return o.write(out, &accuracy.Table{Set: o.set.String(), Stations: o.stations, Rows: accuracy.Sum(outcomes, o.set != draw.Check)})
}

// cases returns the recordings and the drawn stations, or the drawn stations of one kind.
func (o *options) cases() ([]accuracy.Case, error) {
	drawn, err := accuracy.Stations(o.set, o.kind, o.stations)
	if err != nil || o.kind != "" {
		return drawn, err
	}
	recordings, err := accuracy.Recordings()
	return append(recordings, drawn...), err
}

// write prints the table and writes the files that are asked for.
func (o *options) write(out io.Writer, t *accuracy.Table) error {
	var before *accuracy.Table
	if o.before != "" {
		var err error
		if before, err = accuracy.ReadTable(o.before); err != nil {
			return err
		}
	}
	if o.file != "" {
		if err := t.Write(o.file); err != nil {
			return err
		}
	}
	return o.publish(out, t.Text(before))
}

// publish prints a text and writes the file that is asked for.
func (o *options) publish(out io.Writer, text string) error {
	fmt.Fprint(out, text)
	if o.text == "" {
		return nil
	}
	if err := os.WriteFile(o.text, []byte(text), 0o644); err != nil {
		return fmt.Errorf("cannot write accuracy table: %w", err)
	}
	return nil
}
