package app

import (
	"context"
	"errors"
	"slices"
	"time"

	"strokewise/analyzer/station"
	"strokewise/collector/mqtt"
	"strokewise/dashboards/board"
	"strokewise/rules"
	"strokewise/rules/notify"
	"strokewise/rules/notify/egress"
)

// Reach names who is reached besides webhooks. What the runtime knows (alarms, the
// outbox, readiness, zones) is filled in.
type Reach struct {
	Pages         string           // address of the pages as people reach them; "": where they are served
	Addresses     egress.Addresses // where receivers may be
	Alertmanagers []*notify.Alertmanager
	Mails         []*notify.Mail
	Panels        []Panel
	DeadMan       *notify.DeadMan // nil: none
	Routes        *notify.Routes  // nil: everybody is told of everything
}

// Panel is a prefix of retained topics at the broker.
type Panel struct{ Name, Prefix string }

// receivers names those for whom transitions wait in the outbox.
func (o *Options) receivers() []string {
	var out []string
	for i := range o.Webhooks {
		out = append(out, o.Webhooks[i].Name)
	}
	for _, x := range o.Reach.Alertmanagers {
		out = append(out, x.Name)
	}
	for _, x := range o.Reach.Mails {
		out = append(out, x.Name)
	}
	return out
}

// openSender makes the sender to webhooks.
func (a *App) openSender() {
	hooks := slices.Clone(a.opt.Webhooks)
	for i := range hooks {
		hooks[i].Known = a.board.Definition
		if hooks[i].Client == nil {
			hooks[i].Client = notify.NewClient(a.receiver)
		}
	}
	a.sender = notify.New(a.box(), hooks, a.log)
}

// openReach fills in what the ways need to know; the pages' address must be known.
func (a *App) openReach() {
	r := &a.opt.Reach
	pages := r.Pages
	if pages == "" {
		pages = a.URL()
	}
	for _, x := range r.Alertmanagers {
		x.Pages, x.Open, x.Known, x.Logger = pages, a.openAlarms, a.board.Definition, a.log
		if x.Client == nil {
			x.Client = notify.NewClient(a.receiver)
		}
		a.sender.Add(x.Name, x)
	}
	for _, x := range r.Mails {
		x.Pages, x.Zones, x.Waiting, x.Known, x.Logger, x.Dial = pages, a.opt.Zones, a.box(), a.board.Definition, a.log, a.receiver
		a.sender.Add(x.Name, x)
	}
	a.sender.Only(a.speak)
	a.sender.Took(a.timings.Delivered)
	for _, p := range r.Panels {
		a.panels = append(a.panels, mqtt.NewRetained(a.panel(p)))
	}
	if r.Routes != nil {
		a.route(r.Routes)
	}
	if r.DeadMan != nil {
		r.DeadMan.Ready, r.DeadMan.Logger = a.reaches, a.log
		if r.DeadMan.Client == nil {
			r.DeadMan.Client = notify.NewClient(a.receiver)
		}
	}
}

// route puts routes in force for those who were added.
func (a *App) route(r *notify.Routes) {
	r.Zones = a.opt.Zones
	for _, w := range r.Windows {
		a.log.Info("maintenance is planned: nobody is told", "from", w.From.Format("2006-01-02 15:04"), "to", w.To.Format("2006-01-02 15:04"),
			"sites", w.Sites, "branches", w.Branches, "stations", w.Stations, "reason", w.Reason)
	}
	a.sender.Route(r, a.present)
	for _, x := range a.opt.Reach.Alertmanagers {
		x.Tells = func(t *rules.Transition, now time.Time) bool { return r.Tells(x.Name, t, now) }
	}
}

// present gives the newest transition of an alarm that is not normal.
func (a *App) present(k station.Key, alarm string) *rules.Transition {
	standing, ok := a.standing(k)
	if !ok {
		return nil
	}
	open := transitionsOpen(standing)
	for i := range open {
		if open[i].Alarm == alarm {
			return &open[i]
		}
	}
	return nil
}

// panel says what a panel's topics hold.
func (a *App) panel(p Panel) mqtt.RetainedOptions {
	o := PanelOptions(&a.opt.MQTT, p)
	o.Logger, o.Dial = a.log, a.dial
	o.Topics = func() map[string]string { return a.lights(p.Prefix) }
	return o
}

// PanelOptions gives the connection of a panel: the samples' broker, by a name of its own.
func PanelOptions(m *mqtt.Options, p Panel) mqtt.RetainedOptions {
	return mqtt.RetainedOptions{
		Brokers: m.Brokers, ClientID: m.ClientID + "-" + p.Name, User: m.User, Password: m.Password, TLS: m.TLS,
		Heartbeat: p.Prefix + "/" + notify.PanelHeartbeat, Alive: notify.PanelRunning, Dead: notify.PanelUnknown,
	}
}

// lights returns what a panel's topics are to hold: unknown while anything between message and conclusion
// does not work.
func (a *App) lights(prefix string) map[string]string {
	working := a.concludes() == nil
	out := map[string]string{}
	for _, s := range a.configured() {
		k := s.Plate.Key
		b, ok := a.board.Get(k)
		word := notify.PanelUnknown
		if working && ok {
			word = notify.PanelWord(transitionsOpen(b.Alarms), b.Status.At != 0 && !b.Stale())
		}
		out[notify.PanelTopic(prefix, k.Site, k.Station)] = word
	}
	return out
}

// openAlarms gives the newest transition of each alarm that is not normal and that people
// are told of.
func (a *App) openAlarms() ([]rules.Transition, bool) {
	if !a.board.Ready() {
		return nil, false
	}
	var out []rules.Transition
	now := a.now()
	for _, s := range a.board.All() {
		for _, t := range transitionsOpen(s.Alarms) {
			if !a.kept(&s, &t, now) {
				out = append(out, t)
			}
		}
	}
	for _, h := range a.board.Headers() {
		out = append(out, transitionsOpen(h.Alarms)...)
	}
	return out, true
}

func transitionsOpen(list []board.Alarm) []rules.Transition {
	out := make([]rules.Transition, len(list))
	for i := range list {
		out[i] = list[i].Transition
		out[i].To = list[i].State
	}
	return out
}

// runReach starts what works beside the outbox.
func (a *App) runReach(g *group) {
	for _, x := range a.opt.Reach.Alertmanagers {
		g.run(x.Run)
	}
	for _, p := range a.panels {
		g.run(func(ctx context.Context) {
			if err := p.Run(ctx); !errors.Is(err, context.Canceled) {
				a.warn("telling panels ended", err)
			}
		})
	}
	if d := a.opt.Reach.DeadMan; d != nil {
		g.run(d.Run)
	}
}

// reachFigures adds the figures of what works beside the outbox.
func (a *App) reachFigures(out *board.Pipeline) {
	for _, x := range a.opt.Reach.Alertmanagers {
		out.DeliverFailed[x.Name] += x.ResendFailed()
	}
	for i, p := range a.panels {
		name := a.opt.Reach.Panels[i].Name
		out.Delivered[name], out.DeliverFailed[name] = p.Figures()
	}
	if d := a.opt.Reach.DeadMan; d != nil {
		out.Delivered[notify.DeadManName], out.DeliverFailed[notify.DeadManName] = d.Figures()
	}
	out.Withheld = a.sender.Withheld()
}
