package prometheus

import "strokewise/dashboards/board"

// Families of how the program itself does.
var (
	ready        = gauge("ready", "1 while no part of the program fails and the sample log has been worked off after the start, else 0.")
	partState    = gauge("part_state", "1 for the level at which a part of the program is, else 0. Levels are works, doubtful and fails.", "part", "level")
	partChanged  = gauge("part_changed_timestamp_seconds", "When the part came to its level, in Unix time.", "part")
	refusedRatio = gauge("refused_ratio", "Share of the messages of the last five minutes that were refused; of the messages usual in such a time where fewer came. Left out below ten messages.")
	reloadGood   = gauge("config_reload_success", "1 where the newest reading of the configuration was taken, 0 where it was refused and the one before stays in force.")
	reloadAt     = gauge("config_reload_success_timestamp_seconds", "When the configuration in force was taken, the start included, in Unix time.")
	reloads      = counter("config_reloads_total", "Readings of the configuration since the process began, the first included, by outcome: taken, refused.", "outcome")
	answerAge    = gauge("answer_age_seconds", "Time since log, history and others answered for the figures that are served.", "source")
)

// levels are those of board.Part.
var levels = [...]string{"works", "doubtful", "fails"}

// program sends how the program itself does.
func (s sink) program(p *board.Pipeline) {
	s.put(ready, number(p.Ready))
	for i := range p.Parts {
		part, name := &p.Parts[i], label(p.Parts[i].Name)
		for _, l := range levels {
			s.put(partState, number(part.Level == l), name, l)
		}
		s.put(partChanged, float64(part.Since)/1e9, name)
	}
	s.put(refusedRatio, p.RefusedRatio)
	if r := p.Reloads; r != nil {
		s.put(reloadGood, number(r.Good))
		s.put(reloadAt, float64(r.At)/1e9)
		s.put(reloads, float64(r.Taken), "taken")
		s.put(reloads, float64(r.Refused), "refused")
	}
	for source, age := range p.AnswerAge {
		s.put(answerAge, age, label(source))
	}
}
