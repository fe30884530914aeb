package main

import (
	"context"
	"errors"
	"fmt"
	"time"

	"strokewise/cmd/internal/app"
	"strokewise/cmd/internal/config"
	"strokewise/collector/mqtt"
	"strokewise/rules/notify"
)

type notifyCmd struct {
	Test notifyTestCmd `cmd:"" help:"Send a test message to each receiver and print what it answered."`
}

type notifyTestCmd struct {
	Config   string `required:"" placeholder:"FILE" help:"Configuration file."`
	Receiver string `placeholder:"NAME" help:"Only this receiver. The dead man's signal (dead-man) is tested only if it is named."`
}

const testWithin = 30 * time.Second // for one receiver

// tester sends a test message and gives what was answered.
type tester struct {
	name string
	test func(context.Context) (string, error)
}

// Run tests the receivers in turn.
func (c *notifyTestCmd) Run(e *env) error {
	cfg, err := load(c.Config, false)
	if err != nil {
		return err
	}
	all, err := testers(cfg)
	if err != nil {
		return err
	}
	tried, failed := 0, 0
	for _, t := range all {
		if c.Receiver != "" && t.name != c.Receiver || c.Receiver == "" && t.name == notify.DeadManName {
			continue
		}
		tried++
		ctx, cancel := context.WithTimeout(e.ctx, testWithin)
		answer, err := t.test(ctx)
		cancel()
		if e.ctx.Err() != nil {
			return e.ctx.Err()
		}
		if err != nil {
			failed++
			fmt.Fprintf(e.out, "%s: failed: %v\n", t.name, err)
			continue
		}
		fmt.Fprintf(e.out, "%s: %s\n", t.name, answer)
	}
	switch {
	case tried == 0 && c.Receiver != "":
		return fmt.Errorf("no receiver is named %q; notify in %s names them", c.Receiver, c.Config)
	case tried == 0:
		return fmt.Errorf("there is no receiver: notify in %s names none", c.Config)
	case failed > 0:
		return fmt.Errorf("%d of %d receivers failed", failed, tried)
	}
	return nil
}

// testers gives every receiver of a configuration.
func testers(c *config.Config) ([]tester, error) {
	hooks, err := webhooks(&c.Notify)
	if err != nil {
		return nil, err
	}
	r, err := reach(c)
	if err != nil {
		return nil, err
	}
	var out []tester
	dial := r.Addresses.Dialer().DialContext
	add := func(name string, w notify.Way) {
		out = append(out, tester{name, func(ctx context.Context) (string, error) { defer w.Close(); return w.Test(ctx) }})
	}
	for i := range hooks {
		hooks[i].Client = notify.NewClient(dial)
		add(hooks[i].Name, &hooks[i])
	}
	for _, x := range r.Alertmanagers {
		x.Pages, x.Client = r.Pages, notify.NewClient(dial)
		add(x.Name, x)
	}
	for _, x := range r.Mails {
		x.Dial = dial
		add(x.Name, x)
	}
	m, err := link(&c.MQTT.Link, c.MQTT.MaxPacket)
	if err != nil {
		return nil, err
	}
	for _, p := range r.Panels {
		out = append(out, tester{p.Name, func(ctx context.Context) (string, error) { return testPanel(ctx, &m, p) }})
	}
	if r.DeadMan != nil {
		r.DeadMan.Client = notify.NewClient(dial)
		out = append(out, tester{notify.DeadManName, r.DeadMan.Test})
	}
	return out, nil
}

// testPanel writes to a topic of the panel's that no station has.
func testPanel(ctx context.Context, m *mqtt.Options, p app.Panel) (string, error) {
	o := app.PanelOptions(m, p)
	o.ClientID += "-test"
	topic := p.Prefix + "/test"
	err := mqtt.NewRetained(o).Once(ctx, topic, "test")
	if errors.Is(err, context.DeadlineExceeded) {
		err = errors.New("the broker does not answer")
	}
	return "the broker has taken \"test\" on " + topic + ", not retained", err
}
