package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"time"

	"strokewise/analyzer/station"
	"strokewise/cmd/internal/config"
	"strokewise/collector/intake"
)

// payloadCmd are the orders about payloads.
type payloadCmd struct {
	Try payloadTry `cmd:"" help:"Print what would come of a message with this configuration: stations, channels, times and values, and what is refused and why. Several files are messages one after the other, as births of Sparkplug need it. Exit code 1 where nothing of the last is taken."`
}

type payloadTry struct {
	Config  string   `required:"" placeholder:"FILE" help:"Configuration file."`
	Topic   string   `required:"" placeholder:"TOPIC" help:"Topic of the messages; or one a file, in the files' order, by giving it again."`
	Then    []string `placeholder:"TOPIC" help:"Topics of the second file and those behind it, where they differ."`
	Arrival string   `placeholder:"TIME" help:"When the messages arrive, RFC 3339; now if left out."`
	Files   []string `arg:"" placeholder:"FILE" help:"Payloads, - for standard input."`
}

// mostTried is the longest payload that is read, bytes: what config allows for mqtt.max_packet.
const mostTried = 256 << 20

// Run tries the messages.
func (c *payloadTry) Run(e *env) error {
	cfg, err := load(c.Config, false)
	if err != nil {
		return err
	}
	o, err := routes(cfg)
	if err != nil {
		return err
	}
	o.Stations = cfg.Keys()
	o.Ask = func(topic string, _ []byte) {
		fmt.Fprintf(e.out, "the sender would be asked for its birth on %s\n", topic)
	}
	in, err := intake.New(o)
	if err != nil {
		return err
	}
	at := station.InstantOf(time.Now())
	if c.Arrival != "" {
		t, err := time.Parse(time.RFC3339Nano, c.Arrival)
		if err != nil {
			return fmt.Errorf("cannot read the time of arrival %q: expected RFC 3339, such as 2026-01-01T00:00:00Z", c.Arrival)
		}
		at = station.InstantOf(t)
	}
	for i, file := range c.Files {
		m := intake.Message{Topic: c.topic(i), Arrival: at}
		if m.Payload, err = readPayload(file); err != nil {
			return err
		}
		err = tried(e.out, in, cfg, &m)
	}
	return err
}

// topic returns the topic of a file.
func (c *payloadTry) topic(i int) string {
	if i > 0 && i <= len(c.Then) {
		return c.Then[i-1]
	}
	return c.Topic
}

func readPayload(file string) ([]byte, error) {
	r := io.Reader(os.Stdin)
	if file != "-" {
		f, err := os.Open(file)
		if err != nil {
			return nil, fmt.Errorf("cannot read the payload: %w", err)
		}
		defer f.Close()
		r = f
	}
	data, err := io.ReadAll(io.LimitReader(r, mostTried))
	if err != nil {
		return nil, fmt.Errorf("cannot read the payload: %w", err)
	}
	return data, nil
}

// errNothing is returned where nothing of a message is taken; why is printed already.
var errNothing = errors.New("nothing of the message is taken")

// tried prints what comes of one message.
func tried(out io.Writer, in *intake.Intake, cfg *config.Config, m *intake.Message) error {
	t, refusal := in.Decide(m)
	fmt.Fprintf(out, "%s: %d bytes, read as %s\n", m.Topic, len(m.Payload), t.As)
	if refusal != nil {
		fmt.Fprintf(out, "  refused: %v\n", refusal)
		return errNothing
	}
	t.Each(func(r *station.Record) {
		for i := range r.Blocks {
			fmt.Fprintf(out, "  %s %s\n", r.Key, blockLine(&r.Blocks[i], unitOfSite(cfg, r.Key.Site)))
		}
	})
	for _, l := range t.Lost {
		fmt.Fprintf(out, "  lost: %v\n", l)
	}
	if len(t.Blocks) == 0 {
		fmt.Fprintln(out, "  nothing in it is of a configured channel")
	}
	return nil
}

// unitOfSite returns the unit that a site reads pressures in.
func unitOfSite(cfg *config.Config, site string) station.Reading {
	if s := cfg.Site(site); s != nil {
		return s.Reading
	}
	return station.ReadKPa
}

// blockLine words a block: how many values, from and to what time, the first and the last of them.
func blockLine(b *station.Block, r station.Reading) string {
	n := b.Len()
	word := func(v float64) string { return quantityWords(b.Channel, v, r) }
	if n == 1 {
		return fmt.Sprintf("%s: %s at %s (%s)", b.Channel, word(b.Values[0]), b.At(0), stampWords(b.Stamp))
	}
	return fmt.Sprintf("%s: %d values, %s at %s to %s at %s (%s)", b.Channel, n, word(b.Values[0]), b.At(0), word(b.Values[n-1]), b.At(n-1), stampWords(b.Stamp))
}

func stampWords(s station.Stamp) string {
	if s == station.StampArrival {
		return "time of arrival"
	}
	return "its own time"
}

// quantityWords words a value of a channel.
func quantityWords(c station.Channel, v float64, r station.Reading) string {
	switch {
	case c.IsPressure():
		return fmt.Sprintf("%.6g %s gauge", v*r.Scale(), r)
	case c == station.TankTemperature:
		return fmt.Sprintf("%.4g °C", v-273.15)
	case c == station.InletFlow:
		return fmt.Sprintf("%.4g L/min ANR", v*60e3)
	case c == station.SupplyOpen && v != 0:
		return "open"
	case c == station.SupplyOpen:
		return "closed"
	}
	return fmt.Sprintf("%.15g", v)
}
