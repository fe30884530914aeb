// Command play plays the scenes and prints, as a table in markdown, what was raised at each event,
// after how long, and the text as sent.
package main

import (
	"flag"
	"fmt"
	"os"
	"strings"
	"time"

	"strokewise/cmd/internal/scene"
)

func main() {
	only := flag.String("only", "", "play the scenes whose name holds this")
	brief := flag.Bool("brief", false, "print what is wrong and a line for each transition instead of the table")
	week := flag.Bool("week", false, "play a week of a mixed plant instead of the scenes")
	stations := flag.Int("stations", 24, "of the week's plant")
	days := flag.Int("days", 7, "of the week, from Monday on")
	first := flag.Int("first", 0, "the first of the week's stations in the tune set: another plant")
	each := flag.Bool("each", false, "list every alarm of the week, true or false")
	flag.Parse()
	if *week {
		r := scene.Week(*first, *stations, *days, os.Stderr)
		fmt.Print(r.Text())
		if *each {
			fmt.Print(r.Each())
		}
		if len(r.Wrong) > 0 {
			os.Exit(1)
		}
		return
	}
	if !*brief {
		fmt.Println(scene.Head())
	}
	wrong := 0
	for _, s := range scene.All() {
		if !strings.Contains(s.Name, *only) {
			continue
		}
		began := time.Now()
		o := s.Play()
		faults := s.Judge(o)
		if len(faults) > 0 {
			wrong++
		}
		if !*brief {
			fmt.Println(s.Row(o))
			continue
		}
		fmt.Printf("%s (%.1f s)\n%s", s.Name, time.Since(began).Seconds(), s.Brief(o))
		for _, f := range faults {
			fmt.Printf("  WRONG: %s\n", f)
		}
	}
	if wrong > 0 {
		fmt.Fprintf(os.Stderr, "play: %d scenes did not come as they must\n", wrong)
		os.Exit(1)
	}
}
