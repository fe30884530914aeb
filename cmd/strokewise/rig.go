package main

import (
	"compress/gzip"
	"fmt"
	"io"
	"strconv"
	"strings"
	"text/tabwriter"
	"time"

	"strokewise/analyzer/station"
	"strokewise/collector/mqtt"
	"strokewise/collector/payload"
	"strokewise/collector/rig"
)

// rigCmd are the commands on virtual stations.
type rigCmd struct {
	List    rigListCmd    `cmd:"" help:"List the virtual stations and the kinds of fault."`
	Record  rigRecordCmd  `cmd:"" help:"Write a recording of a virtual station, with its truth."`
	Publish rigPublishCmd `cmd:"" help:"Publish virtual stations to a broker, as edge sensors do, until interrupted."`
	Fault   rigFaultCmd   `cmd:"" help:"Cause a fault at a station of a running demonstration, or mend it."`
}

type rigListCmd struct{}

// Run lists stations and faults.
func (rigListCmd) Run(e *env) error {
	specs, err := rig.Plant(station.InstantOf(time.Now()))
	if err != nil {
		return err
	}
	t := tabwriter.NewWriter(e.out, 0, 0, 2, ' ', 0)
	for _, s := range specs {
		fmt.Fprintf(t, "%s\t%s\t%s\n", s.Plate.Key, s.Plate.Branch, s.About)
	}
	fmt.Fprintln(t)
	for _, n := range rig.KindNames() {
		k, _ := rig.ParseKind(n)
		level := ""
		if k.Unit() != "" {
			level = fmt.Sprintf("usual level %.6g %s", k.Usual(), map[bool]string{true: k.Unit()}[k.Unit() != "1"])
		}
		fmt.Fprintf(t, "%s\t%s\t%s\n", n, k.About(), level)
	}
	return t.Flush()
}

// faultArg reads "outlet-leak", "outlet-leak=0.2", "outlet-leak=0.2@30s".
func faultArg(arg string, start station.Instant) (rig.Fault, error) {
	arg, after, delayed := strings.Cut(arg, "@")
	name, level, given := strings.Cut(arg, "=")
	var v float64
	var d time.Duration
	var err error
	if given {
		if v, err = strconv.ParseFloat(level, 64); err != nil {
			return rig.Fault{}, fmt.Errorf("cannot read the level of fault %q: expected a number", arg)
		}
	}
	if delayed {
		if d, err = time.ParseDuration(after); err != nil {
			return rig.Fault{}, fmt.Errorf("cannot read when fault %q sets in: expected a time such as 30s", arg)
		}
	}
	return rig.NewFault(name, v, start.Add(int64(d)), 0)
}

type rigRecordCmd struct {
	Station string        `required:"" placeholder:"ID" help:"Virtual station, see strokewise rig list."`
	For     time.Duration `default:"10m" help:"Length of the recording."`
	From    time.Time     `placeholder:"TIME" help:"Start, RFC 3339; default: now."`
	Rate    float64       `placeholder:"HZ" help:"Pressure samples a second, instead of the station's own."`
	Fault   []string      `placeholder:"KIND[=LEVEL][@AFTER]" help:"Fault instead of the station's own; may be repeated."`
	Out     string        `required:"" placeholder:"FILE" help:"Recording (CSV; gzipped where the name ends in .gz)."`
	Truth   string        `placeholder:"FILE" help:"What the model really did (JSON)."`
}

// Run writes the recording.
func (c *rigRecordCmd) Run(e *env) error {
	if err := c.bounded(); err != nil {
		return err
	}
	from := c.From
	if from.IsZero() {
		from = time.Now()
	}
	specs, err := rig.Plant(station.InstantOf(from))
	if err != nil {
		return err
	}
	spec, err := rig.Find(specs, c.Station)
	if err != nil {
		return err
	}
	start := station.InstantOf(from).Floor(station.Second)
	if c.Rate > 0 {
		spec.Sensors.Rate = c.Rate
	}
	if len(c.Fault) > 0 {
		spec.Faults = nil
	}
	for _, a := range c.Fault {
		f, err := faultArg(a, start)
		if err != nil {
			return err
		}
		spec.Faults = append(spec.Faults, f)
	}
	var truth *rig.Truth
	err = writeWhole(e, "recording", c.Out, func(w io.Writer) (err error) {
		z := gzip.NewWriter(w)
		if strings.HasSuffix(c.Out, ".gz") {
			w = z
		}
		if truth, err = rig.Record(w, spec, start, int64(c.For)); err == nil && w == z {
			err = z.Close()
		}
		return err
	})
	if err != nil || c.Truth == "" {
		return err
	}
	return writeWhole(e, "truth", c.Truth, func(w io.Writer) error { return rig.WriteTruth(w, truth) })
}

// bounded refuses what would fill disk or memory.
func (c *rigRecordCmd) bounded() error {
	switch {
	case c.For <= 0 || c.For > longestRecord:
		return fmt.Errorf("--for is %s: expected up to %s", c.For, longestRecord)
	case c.Rate < 0 || c.Rate > highestRate:
		return fmt.Errorf("--rate is %g: expected up to %g a second", c.Rate, highestRate)
	}
	return nil
}

// Bounds of a recording: its truth is kept in memory, and so is a second of its samples.
const (
	longestRecord = 31 * 24 * time.Hour
	highestRate   = 10e3 // Hz
)

type rigPublishCmd struct {
	Broker  string   `default:"tcp://127.0.0.1:1883" help:"Broker."`
	Station []string `placeholder:"ID" help:"Only these virtual stations."`
	Style   string   `placeholder:"STYLE" help:"joint, channels, senml or scalar, instead of each station's own."`
}

// A broker on a quick network answers sooner.
const brokerPatience = 3 * time.Second

// Run publishes until interrupted.
func (c *rigPublishCmd) Run(e *env) error {
	now := time.Now()
	specs, err := rig.Plant(station.InstantOf(now))
	if err != nil {
		return err
	}
	if len(c.Station) > 0 {
		all := specs
		specs = nil
		for _, n := range c.Station {
			s, err := rig.Find(all, n)
			if err != nil {
				return err
			}
			specs = append(specs, s)
		}
	}
	if c.Style != "" {
		style, ok := payload.ParseStyle(c.Style)
		if !ok {
			return fmt.Errorf("cannot publish in style %q: expected joint, channels, senml or scalar", c.Style)
		}
		for i := range specs {
			specs[i].Style = style
		}
	}
	pub, err := c.connect(e)
	if err != nil {
		return err
	}
	defer pub.Close()
	fmt.Fprintf(e.out, "publishing %s to %s below boost/; Ctrl-C ends it\n", numbered(len(specs), "virtual station"), c.Broker)
	return untilInterrupted(rig.NewPlayer(specs, now, nil, pub.Publish).Run(e.ctx))
}

// connect waits for the broker, and says so where it takes long.
func (c *rigPublishCmd) connect(e *env) (pub *mqtt.Publisher, err error) {
	done := make(chan struct{})
	go func() {
		defer close(done)
		pub, err = mqtt.NewPublisher(e.ctx, c.Broker, "strokewise-rig")
	}()
	select {
	case <-done:
	case <-time.After(brokerPatience):
		fmt.Fprintf(e.err, "no broker answers at %s; trying again every second. Is it running? Another address: --broker\n", c.Broker)
		<-done
	}
	return pub, err
}
