package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"

	"strokewise/analyzer/station"
	"strokewise/collector/mqtt"
	"strokewise/collector/rig"
)

// orders is the topic of the demonstration's broker on which orders for faults come.
const orders = "rig/orders"

// order causes a fault of a virtual station, or ends it.
type order struct {
	Station string  `json:"station"`
	Kind    string  `json:"kind,omitempty"`  // "" with Mend: all of them
	Level   float64 `json:"level,omitempty"` // 0: the usual one
	GrowS   float64 `json:"grow_s,omitempty"`
	Mend    bool    `json:"mend,omitempty"`
}

// carry carries the order out.
func (o *order) carry(p *rig.Player) error {
	if o.Mend {
		return p.Mend(o.Station, o.Kind)
	}
	return p.Cause(o.Station, o.Kind, o.Level, time.Duration(o.GrowS*1e9))
}

type rigFaultCmd struct {
	Station string        `arg:"" help:"Virtual station, see strokewise rig list."`
	Kind    string        `arg:"" optional:"" help:"Kind of fault; may be left out with --mend: all of them."`
	Level   float64       `help:"How bad, in the unit that strokewise rig list tells; default: the usual level."`
	Grow    time.Duration `help:"Time over which it grows to its level; default: at once."`
	Mend    bool          `help:"End the fault instead."`
	Data    string        `type:"path" help:"The demonstration's data folder, where it is not the usual one."`
	Broker  string        `placeholder:"URL" help:"The demonstration's broker, instead of looking it up in the data folder."`
}

// Run sends the order. What cannot be carried out is found here, before it is sent.
func (c *rigFaultCmd) Run(e *env) error {
	if c.Kind == "" && !c.Mend {
		return errors.New("cannot cause a fault without its kind; strokewise rig list names them")
	}
	specs, err := rig.Plant(station.InstantOf(time.Now()))
	if err != nil {
		return err
	}
	spec, err := rig.Find(specs, c.Station)
	if err != nil {
		return err
	}
	if c.Kind != "" {
		if _, err := rig.NewFault(c.Kind, c.Level, 0, 0); err != nil {
			return err
		}
	}
	broker, err := c.broker()
	if err != nil {
		return err
	}
	o := order{Station: spec.Plate.Key.String(), Kind: c.Kind, Level: c.Level, GrowS: c.Grow.Seconds(), Mend: c.Mend}
	b, err := json.Marshal(o)
	if err != nil {
		return err
	}
	ctx, cancel := context.WithTimeout(e.ctx, 5*time.Second)
	defer cancel()
	pub, err := mqtt.NewPublisher(ctx, broker, "strokewise-rig-fault")
	if err != nil {
		return fmt.Errorf("%w; is the demonstration still running?", err)
	}
	defer pub.Close()
	if err := pub.Publish(ctx, orders, b); err != nil {
		return err
	}
	switch {
	case !c.Mend:
		k, _ := rig.ParseKind(c.Kind)
		fmt.Fprintf(e.out, "%s: %s\n", o.Station, k.About())
	case c.Kind == "":
		fmt.Fprintf(e.out, "%s: all faults mended\n", o.Station)
	default:
		fmt.Fprintf(e.out, "%s: %s mended\n", o.Station, c.Kind)
	}
	return nil
}

// broker gives the address of the running demonstration's broker.
func (c *rigFaultCmd) broker() (string, error) {
	if c.Broker != "" {
		return c.Broker, nil
	}
	dir, err := demoFolder(c.Data)
	if err != nil {
		return "", err
	}
	b, err := os.ReadFile(filepath.Join(dir, brokerFile))
	if errors.Is(err, fs.ErrNotExist) {
		return "", fmt.Errorf("no demonstration is running on %q; start one with strokewise demo, or name its --data folder", dir)
	}
	if err != nil {
		return "", fmt.Errorf("cannot look up the demonstration's broker: %w", err)
	}
	return strings.TrimSpace(string(b)), nil
}
