package pipeline

import "strokewise/analyzer/station"

// Learned sets l to what engine and alarms have learned slowly.
func (u *Unit) Learned(l *station.Learned) {
	u.engine.Learned(l)
	u.rules.Learned(&l.Use)
	u.rules.LearnedLike(&l.Like)
}

// RecallLearned replaces what engine and alarms have learned by l, see engine.Engine.
func (u *Unit) RecallLearned(l *station.Learned) {
	u.engine.Recall(l)
	u.rules.RecallLearned(&l.Use)
	u.rules.RecallLike(&l.Like)
}
