package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"text/tabwriter"
	"time"

	"strokewise/cmd/internal/config"
	"strokewise/cmd/internal/discovery"
	"strokewise/collector/discover"
)

type discoverCmd struct {
	Broker   string        `required:"" placeholder:"URL" help:"Broker, as in tcp://127.0.0.1:1883 or ssl://broker.example:8883."`
	For      time.Duration `default:"60s" help:"How long to listen: long enough for each station to work and to rest."`
	Filter   string        `default:"#" help:"Topics to listen to."`
	User     string        `help:"User at the broker."`
	Password string        `placeholder:"FILE" help:"File with the user's password."`
	Site     string        `default:"plant" help:"Identifier of the site in the proposed configuration."`
	JSON     bool          `help:"Print what was heard as JSON, instead of a proposed configuration."`
	Out      string        `short:"o" placeholder:"FILE" help:"Write there, instead of printing. The file must not exist yet."`
}

// Run listens, and prints or writes what it concludes.
func (c *discoverCmd) Run(e *env) error {
	at := discovery.At{Broker: c.Broker, User: c.User, Filter: c.Filter}
	if c.Password != "" {
		s, err := config.ReadSecret(c.Password)
		if err != nil {
			return err
		}
		at.Password = s.Reveal()
	}
	if c.For <= 0 || c.For > 24*time.Hour {
		return fmt.Errorf("--for is %s: expected up to 24h", c.For)
	}
	if err := vacant(c.Out); err != nil {
		return err
	}
	l, err := discovery.New(at, e.log)
	if err != nil {
		return err
	}
	fmt.Fprintf(e.err, "listening to %s at %s for %s\n", c.Filter, l.At().Broker, c.For)
	ctx, stop := context.WithTimeout(e.ctx, c.For)
	defer stop()
	if err := l.Run(ctx); err != nil && !errors.Is(err, context.DeadlineExceeded) {
		return err
	}
	f := l.Findings()
	if f.Messages == 0 {
		return fmt.Errorf("nothing was heard of %s at %s%s", c.Filter, l.At().Broker, because(l.Trouble()))
	}
	if err := summary(e.err, f); err != nil {
		return err
	}
	if c.Out == "" {
		return c.write(e.out, l, f)
	}
	return writeWhole(e, "what was heard", c.Out, func(w io.Writer) error { return c.write(w, l, f) })
}

// vacant reports a file that exists already: what people have written is not written over.
func vacant(path string) error {
	if info, err := os.Stat(path); path != "" && err == nil && info.Mode().IsRegular() {
		return fmt.Errorf("cannot write %s: it exists already, and is not written over", path)
	}
	return nil
}

func because(trouble string) string {
	if trouble == "" || strings.HasPrefix(trouble, "connecting") {
		return ": is anything published there?"
	}
	return ": " + trouble
}

func (c *discoverCmd) write(w io.Writer, l *discovery.Listening, f *discover.Findings) error {
	if c.JSON {
		j := json.NewEncoder(w)
		j.SetEscapeHTML(false)
		j.SetIndent("", "  ")
		return j.Encode(f)
	}
	p := f.Plan()
	p.Broker, p.User, p.Site = l.At().Broker, c.User, c.Site
	if err := p.Check(f); err != nil {
		return err
	}
	_, err := w.Write(discover.Write(f, p))
	return err
}

// summary returns what was heard, in words for people.
func summary(w io.Writer, f *discover.Findings) error {
	fmt.Fprintf(w, "%d messages on %d topics in %.0f s; %d stations are proposed\n", f.Messages, len(f.Topics), f.Seconds, len(f.Stations))
	if f.LeftOut > 0 {
		fmt.Fprintf(w, "%d messages or values are left out, beyond what is remembered: narrow --filter\n", f.LeftOut)
	}
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	for i := range f.Series {
		s := &f.Series[i]
		g := s.Best()
		fmt.Fprintf(t, "%.60q %.60s\t%.3g a second\t%.5g to %.5g\t%s %s %.0f %%\n", f.Topics[s.Topic].Name, s.Name, s.Rate, s.Low, s.High, g.Is, g.Unit, 100*g.Sure)
	}
	for i := range f.Topics {
		if x := &f.Topics[i]; x.Problem != "" {
			fmt.Fprintf(t, "%.60q\t%d of %d messages cannot be read: %.200q\n", x.Name, x.Unread, x.Messages, x.Problem)
		}
	}
	return t.Flush()
}
