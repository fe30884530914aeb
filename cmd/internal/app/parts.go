package app

import (
	"errors"
	"fmt"
	"slices"
	"strconv"
	"time"

	"strokewise/analyzer/station"
	"strokewise/cmd/internal/health"
	"strokewise/dashboards/board"
	"strokewise/rules/notify"
)

const (
	// receiverWithin is for how long a receiver may refuse what waits for it before the program
	// counts as not reaching people: the longest wait between two attempts, see backoffMost of
	// rules/notify. Own choice, no source.
	receiverWithin = 5 * time.Minute
	// senderWithin is for how long the sender may be busy with one delivery: ten of the longest
	// requests.
	senderWithin = 2 * time.Minute
)

// openParts names the parts of the program whose state is found out by looking.
func (a *App) openParts() {
	a.logPart = health.NewSeveral(a.health.Part("sample-log", 0))
	a.snapshots = health.NewSeveral(a.health.Part("snapshots", 0).As(health.Beside))
	for _, name := range [...]string{"trim", "retention", "pages"} {
		a.health.Part(name, 0).As(health.Beside)
	}
	a.health.Part("refused", 0)
	if len(a.sources) == 0 {
		part := a.health.Part("broker", 0)
		a.health.Look(func() { part.Doubtful("no broker is configured: the page First run proposes a configuration") })
	}
	for _, s := range a.sources {
		part := a.health.Part(s.part(), 0)
		a.health.Look(func() { s.look(part) })
	}
	a.health.Look(a.lookAtReach)
	if r := a.opt.Reloads; r != nil {
		part := a.health.Part("configuration", 0).As(health.Beside)
		a.health.Look(func() { r.look(part) })
	}
}

// Health returns how the parts of the program do.
func (a *App) Health() *health.Registry { return a.health }

// Ready reports whether the program does its work; the error says what does not, a line each.
func (a *App) Ready() error { return a.unless() }

// reaches reports whether all works between a message and the people who are told: the dead man's
// signal depends on it.
func (a *App) reaches() error { return a.unless(health.Judges, health.Tells) }

// concludes reports whether all works between a message and its conclusion.
func (a *App) concludes() error { return a.unless(health.Judges) }

// unless returns what fails among parts of the given roles, or among all; nil where nothing does.
func (a *App) unless(roles ...health.Role) error {
	var errs []error
	if !a.board.Ready() {
		errs = append(errs, errors.New("working off the sample log after the start"))
	}
	for _, s := range a.health.Failing(roles...) {
		errs = append(errs, fmt.Errorf("%s: %s", s.Part, s.Reason))
	}
	return errors.Join(errs...)
}

// partStates returns how the parts do, for metrics and pages.
func (a *App) partStates() []board.Part {
	list := a.health.List()
	out := make([]board.Part, len(list))
	for i, s := range list {
		out[i] = board.Part{Name: s.Part, Level: s.Level.String(), Reason: s.Reason, Since: station.InstantOf(s.Since), Todo: health.Todo(s.Part)}
	}
	return out
}

// lookAtReach reports how people are reached.
func (a *App) lookAtReach() {
	for i, p := range a.panels {
		doubt(a.health.Part("panel-"+a.opt.Reach.Panels[i].Name, 0).As(health.Tells), "its lights say unknown: %v", p.Trouble())
	}
	if d := a.opt.Reach.DeadMan; d != nil {
		doubt(a.health.Part(notify.DeadManName, 0).As(health.Beside), "nobody would notice an end of this program: %v", d.Trouble())
	}
	if a.export != nil {
		doubt(a.health.Part("export", 0).As(health.Beside), "what is to be exported waits: %v", a.export.Trouble())
	}
	again := make(map[string]error)
	for _, x := range a.opt.Reach.Alertmanagers {
		again[x.Name] = x.ResendTrouble()
	}
	var outbox []string
	for _, s := range a.sender.States() {
		p := a.health.Part("receiver-"+s.Receiver, 0).As(health.Tells)
		receiver(p, &s, again[s.Receiver], time.Now())
		if !s.Gone && !s.Heard.IsZero() && time.Since(s.Heard) > senderWithin {
			s.Outbox = fmt.Errorf("nothing is sent to %s: the sender has stood for %s", s.Receiver, time.Since(s.Heard).Round(time.Second))
		}
		if s.Outbox != nil {
			outbox = append(outbox, s.Outbox.Error())
		}
	}
	sender := a.health.Part("notifications", 0).As(health.Tells)
	if len(outbox) > 0 {
		sender.Fails("%s", outbox[0]) // the others say much the same
		return
	}
	sender.Works()
}

// receiver reports how the way to a receiver does at now. A trouble after which nothing was tried again
// is over: what could not be delivered is not to be told any more. Again is why what stands could not be
// told again to one who forgets.
func receiver(p *health.Part, s *notify.State, again error, now time.Time) {
	over := s.Trouble == nil || now.Sub(s.Again) > senderWithin
	switch lasting := now.Sub(s.Since); {
	case s.Gone:
		p.Fails("nothing more is sent to it until the next start: %v", s.Trouble)
	case over && again != nil:
		p.Doubtful("what stands is not told again: %v", again)
	case over:
		p.Works()
	case lasting >= receiverWithin:
		p.Fails("alarms have not reached it for %s: %v", lasting.Round(time.Second), s.Trouble)
	default:
		p.Doubtful("trying again: %v", s.Trouble)
	}
}

// doubt reports Doubtful with a trouble in words, or Works where there is none.
func doubt(p *health.Part, words string, trouble error) {
	if trouble == nil {
		p.Works()
		return
	}
	p.Doubtful(words, trouble)
}

// doubtful reports a fault of a loop that people can do without for a while, and returns it. The loop
// fails once it has not been heard of for ten of its intervals.
func (a *App) doubtful(name string, every time.Duration, err error) error {
	doubt(a.health.Part(name, 10*every+10*time.Minute).As(health.Beside), "trying again: %v", err)
	return err
}

// writerName returns the name of a partition's part.
func writerName(n int) string { return "writer-" + strconv.Itoa(n) }

// due lets the writers of partitions that are given ticks fail where nothing is stored: a tick comes
// back from the log, and is stored, within seconds. The others have nothing to store.
func (a *App) due(used []int) {
	for n := range a.parts {
		if slices.Contains(used, n) {
			a.health.Part(writerName(n), lateAfter(max(a.opt.Every.Tick, a.opt.Every.Commit)))
			continue
		}
		a.health.Part(writerName(n), 0)
	}
	if len(used) == 0 {
		a.ring.took(ofOthers) // what the last tick met is not tried again
	}
}
