// Command run plays a plant's year through the whole program and prints what became of memory,
// database, log and sums.
package main

import (
	"context"
	"flag"
	"fmt"
	"os"
	"os/signal"

	"strokewise/cmd/internal/soak"
)

func main() {
	o := soak.Options{Log: os.Stderr, Tariff: 100, Upgrades: []int{50, 170, 290}, Restores: []int{100, 250}}
	flag.IntVar(&o.Stations, "stations", 1000, "of the plant")
	flag.IntVar(&o.Days, "days", 365, "from Monday on")
	flag.Int64Var(&o.Seconds, "seconds", 150, "that each station works each working day")
	flag.StringVar(&o.Dir, "dir", "", "folder for the program's data; by default one of its own, which is removed")
	flag.Parse()
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	r, err := soak.Run(ctx, o)
	if err != nil {
		fmt.Fprintln(os.Stderr, "run:", err)
		os.Exit(1)
	}
	fmt.Print(r.Text())
	if len(r.Wrong) > 0 {
		os.Exit(1)
	}
}
