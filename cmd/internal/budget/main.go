// Command budget reads the output of benchmarks, passes it on, and prints what the budgets
// allow beside what was measured.
package main

import (
	"bufio"
	"fmt"
	"io"
	"os"
	"strconv"
	"strings"
	"text/tabwriter"
)

// budget is one line of the table: a figure of a benchmark against a limit or a baseline.
type budget struct {
	what, bench, unit string
	limit             float64
	least             bool    // the limit is the least that is allowed
	over              string  // baseline: the figure is divided by this benchmark's
	per               float64 // the figure is divided by this too
}

var budgets = []budget{
	{"analyzer, ns a sample", "BenchmarkSamples/engine", "ns/sample", 50, false, "", 1},
	{"analyzer, times a filter and detector pass", "BenchmarkSamples/engine", "ns/sample", 0, false, "BenchmarkSamples/baseline-filter-detector", 1},
	{"analyzer, allocations a run", "BenchmarkSamples/engine", "allocs/op", 0.5, false, "", 1},
	{"Mosquitto to minutes over bare paho", "BenchmarkEndToEnd/strokewise", "msg/s", 0.8, true, "BenchmarkEndToEnd/bare-paho", 1},
	{"10,000 stations from the log, times real time", "BenchmarkStations/10000", "x-realtime", 1, true, "", 1},
	{"10,000 stations, KiB a station", "BenchmarkStations/10000", "KiB/station", 104, false, "", 1},
	{"10,000 over 100 stations, cost a sample", "BenchmarkStations/10000", "cpu-s/Msample", 1.5, false, "BenchmarkStations/100", 1},
	{"log, bytes a sample", "BenchmarkStations/1000", "log-B/sample", 0, false, "", 1},
	{"2,000 stations through Mosquitto, s behind", "BenchmarkPlant", "s-behind", 2, false, "", 1},
	{"2,000 stations through Mosquitto, MiB", "BenchmarkPlant", "MiB", 1024, false, "", 1},
	{"2,000 stations, processor s a million samples", "BenchmarkPlant", "cpu-s/Msample", 0, false, "", 1},
	{"1,000 stations, alarm to webhook, ms median", "BenchmarkAlarm", "ms-median", 300, false, "", 1},
	{"1,000 stations, alarm to webhook, ms 99 %", "BenchmarkAlarm", "ms-99%", 1000, false, "", 1},
	{"replay of 8 h at 20 Hz, s", "BenchmarkReplay", "s/8h", 1, false, "", 1},
	{"scrape of 1,000 stations, ms", "BenchmarkScrape/board/stations=1000", "ns/op", 200, false, "", 1e6},
	{"scrape of 10,000 stations, ms", "BenchmarkScrape/board/stations=10000", "ns/op", 0, false, "", 1e6},
}

func main() {
	figures := read(os.Stdin, os.Stdout)
	fmt.Println()
	if missed := table(os.Stdout, figures); missed > 0 {
		fmt.Printf("%d missed\n", missed)
	}
}

// read passes lines on and gathers the figures by benchmark and unit; of repetitions the
// last one stays.
func read(in io.Reader, out io.Writer) map[string]map[string]float64 {
	figures := make(map[string]map[string]float64)
	s := bufio.NewScanner(in)
	for s.Scan() {
		fmt.Fprintln(out, s.Text())
		f := strings.Fields(s.Text())
		if len(f) < 4 || !strings.HasPrefix(f[0], "Benchmark") {
			continue
		}
		name := f[0]
		if i := strings.LastIndexByte(name, '-'); i > 0 {
			if _, err := strconv.Atoi(name[i+1:]); err == nil {
				name = name[:i]
			}
		}
		units := make(map[string]float64)
		for i := 2; i+1 < len(f); i += 2 {
			if v, err := strconv.ParseFloat(f[i], 64); err == nil {
				units[f[i+1]] = v
			}
		}
		figures[name] = units
	}
	return figures
}

// table prints the budgets and gives how many are missed or were not measured.
func table(out io.Writer, figures map[string]map[string]float64) (missed int) {
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	defer w.Flush()
	fmt.Fprintln(w, "budget\tmeasured\tallowed\t")
	for _, b := range budgets {
		v, ok := figures[b.bench][b.unit]
		if b.over != "" {
			base, has := figures[b.over][b.unit]
			v, ok = v/base, ok && has && base > 0
		}
		v /= b.per
		allowed, verdict := "", ""
		switch {
		case !ok:
			verdict = "not measured"
			missed++
		case b.limit == 0:
			allowed = "reported"
		case b.least && v < b.limit || !b.least && v > b.limit:
			verdict = "MISSED"
			missed++
		}
		if b.limit != 0 {
			allowed = map[bool]string{true: "at least ", false: "at most "}[b.least] + strconv.FormatFloat(b.limit, 'g', 4, 64)
		}
		measured := "-"
		if ok {
			measured = strconv.FormatFloat(v, 'g', 4, 64)
		}
		fmt.Fprintf(w, "%s\t%s\t%s\t%s\n", b.what, measured, allowed, verdict)
	}
	return missed
}
