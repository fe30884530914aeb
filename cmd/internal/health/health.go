// Package health keeps how each part of the program does: each writer, reader, exporter and
// sender reports to a Part of its own. Readiness, the dead man's signal, the metrics and the
// page about the program are made from one Registry, so that they agree.
package health

import (
	"cmp"
	"fmt"
	"slices"
	"sync"
	"time"
)

// Level is how a part does.
type Level uint8

const (
	Works    Level = iota
	Doubtful       // works, but people must know: something was lost, shortened or is not trusted
	Fails          // does not do its work: the program is not ready
)

// String returns the level as a label of metrics and JSON.
func (l Level) String() string {
	switch l {
	case Works:
		return "works"
	case Doubtful:
		return "doubtful"
	default:
		return "fails"
	}
}

// Role is what the work of a part is needed for.
type Role uint8

const (
	Judges Role = iota // from message to stored conclusion
	Tells              // from conclusion to people
	Beside             // neither: export, deletion, snapshots
)

// State is what a part has reported.
type State struct {
	Part   string
	Role   Role
	Level  Level
	Reason string    // a sentence without its full stop; empty while the part works
	Since  time.Time // of this level
	Heard  time.Time // of the newest report
}

// Registry holds the parts. It is safe for concurrent use.
type Registry struct {
	mu    sync.Mutex
	now   func() time.Time
	parts map[string]*Part
	looks []func()
}

// New returns a registry without parts. The function now is time.Now, or a clock of a test.
func New(now func() time.Time) *Registry {
	return &Registry{now: now, parts: make(map[string]*Part)}
}

// Part is one part's way to report. The zero Part and nil report to nobody.
type Part struct {
	owner  *Registry
	state  State
	within time.Duration
}

// Part returns the part of a name, which is a label of metrics: lower case, words joined by "-".
// It works until it reports otherwise. With within above zero it fails where nothing is heard of it for longer.
func (r *Registry) Part(name string, within time.Duration) *Part {
	r.mu.Lock()
	defer r.mu.Unlock()
	p := r.parts[name]
	if p == nil {
		t := r.now()
		p = &Part{owner: r, state: State{Part: name, Since: t, Heard: t}}
		r.parts[name] = p
	}
	if p.within <= 0 && within > 0 {
		p.state.Heard = r.now() // what was not due before is due from now on
	}
	p.within = within
	return p
}

// Drop forgets a part that has nothing to do any more. What it reports later reaches nobody.
func (r *Registry) Drop(name string) {
	r.mu.Lock()
	defer r.mu.Unlock()
	delete(r.parts, name)
}

// Look has f called before the parts are listed, by whoever lists them, to report what is cheap to
// find out at that moment. It must not block.
func (r *Registry) Look(f func()) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.looks = append(r.looks, f)
}

// As sets what the part's work is needed for, Judges unless it is set, and returns the part.
func (p *Part) As(role Role) *Part {
	p.owner.mu.Lock()
	defer p.owner.mu.Unlock()
	p.state.Role = role
	return p
}

// Works reports that the part does its work.
func (p *Part) Works() { p.report(Works, "") }

// Doubtful reports that the part works and what people must know of it.
func (p *Part) Doubtful(format string, args ...any) { p.report(Doubtful, fmt.Sprintf(format, args...)) }

// Fails reports why the part does not do its work.
func (p *Part) Fails(format string, args ...any) { p.report(Fails, fmt.Sprintf(format, args...)) }

// Report reports Fails with err, or Works where err is nil.
func (p *Part) Report(err error) {
	if err == nil {
		p.Works()
		return
	}
	p.Fails("%v", err)
}

func (p *Part) report(l Level, reason string) {
	if p == nil || p.owner == nil {
		return
	}
	p.owner.mu.Lock()
	defer p.owner.mu.Unlock()
	t := p.owner.now()
	if p.state.Level != l {
		p.state.Since = t
	}
	p.state.Level, p.state.Reason, p.state.Heard = l, reason, t
}

// List returns the states of all parts: those that fail first, then those in doubt, each by name.
func (r *Registry) List() []State {
	r.mu.Lock()
	looks := r.looks
	r.mu.Unlock()
	for _, f := range looks {
		f()
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	t := r.now()
	out := make([]State, 0, len(r.parts))
	for _, p := range r.parts {
		out = append(out, p.at(t))
	}
	slices.SortFunc(out, func(a, b State) int {
		return cmp.Or(cmp.Compare(b.Level, a.Level), cmp.Compare(a.Part, b.Part))
	})
	return out
}

// at returns the state at t, which a part that has fallen silent does not report itself.
func (p *Part) at(t time.Time) State {
	s := p.state
	if due := s.Heard.Add(p.within); p.within > 0 && t.After(due) {
		silent := fmt.Sprintf("nothing heard of it for %s, %s at most are usual", t.Sub(s.Heard).Round(time.Second), p.within)
		if s.Level == Fails {
			silent = s.Reason + "; " + silent
		} else {
			s.Since = due
		}
		s.Level, s.Reason = Fails, silent
	}
	return s
}

// Failing returns the parts that fail, of the given roles, or of all where none is given.
func (r *Registry) Failing(roles ...Role) []State {
	return slices.DeleteFunc(r.List(), func(s State) bool {
		return s.Level != Fails || len(roles) > 0 && !slices.Contains(roles, s.Role)
	})
}

// Silent returns the parts of which nothing is heard within their time: their loops hang.
func (r *Registry) Silent() []string {
	r.mu.Lock()
	defer r.mu.Unlock()
	t := r.now()
	var out []string
	for name, p := range r.parts {
		if p.within > 0 && t.After(p.state.Heard.Add(p.within)) {
			out = append(out, name)
		}
	}
	slices.Sort(out)
	return out
}
