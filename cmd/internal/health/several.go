package health

import (
	"cmp"
	"slices"
	"strings"
	"sync"
)

// Several lets several reporters speak for one part, which does as the worst of them does.
type Several struct {
	part *Part

	mu    sync.Mutex
	words map[string]word
}

type word struct {
	level  Level
	reason string
}

// NewSeveral returns a Several that speaks for a part.
func NewSeveral(p *Part) *Several { return &Several{part: p, words: make(map[string]word)} }

// Report reports Fails with err for one of them, or Works where err is nil.
func (s *Several) Report(who string, err error) { s.report(who, Fails, err) }

// Doubt reports Doubtful with err for one of them, or Works where err is nil.
func (s *Several) Doubt(who string, err error) { s.report(who, Doubtful, err) }

// report keeps what one has said, and passes on the worst of all.
func (s *Several) report(who string, l Level, err error) {
	if s == nil {
		return
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	delete(s.words, who)
	if err != nil {
		s.words[who] = word{l, err.Error()}
	}
	worst, said := Works, []string(nil)
	for _, w := range s.words {
		switch cmp.Compare(w.level, worst) {
		case 1:
			worst, said = w.level, []string{w.reason}
		case 0:
			said = append(said, w.reason)
		}
	}
	slices.Sort(said)
	s.part.report(worst, strings.Join(slices.Compact(said), "; ")) // one fault is often told by several
}
