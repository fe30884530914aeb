package app

import (
	"strokewise/analyzer/station"
	"strokewise/cmd/internal/reanalyse"
	"strokewise/dashboards/web"
)

// told puts what a back-test found in the form that the page shows.
func told(s *web.BacktestState, tested []reanalyse.Tested) {
	s.Verdict = reanalyse.Verdict(tested)
	for i := range tested {
		r := &tested[i]
		s.Spans = append(s.Spans, web.BacktestSpan{Key: r.Key, From: r.From, To: r.To})
		for k := range r.Pairs {
			if len(s.Rows) == mostRows {
				s.More++
				continue
			}
			s.Rows = append(s.Rows, rowOf(r.Key, &r.Pairs[k]))
		}
	}
	if len(s.Rows) == 0 {
		return
	}
	for _, x := range reanalyse.Sums(tested) {
		s.Sums = append(s.Sums, web.BacktestSum(x))
	}
}

func rowOf(k station.Key, p *reanalyse.Pair) web.BacktestRow {
	row := web.BacktestRow{Key: k, Alarm: p.Any().Alarm, Kind: p.Kind()}
	if p.Was != nil {
		row.WasRaised, row.WasEnded = p.Was.Raised, p.Was.Ended
	}
	if p.Is != nil {
		row.Raised, row.Ended = p.Is.Raised, p.Is.Ended
	}
	return row
}
