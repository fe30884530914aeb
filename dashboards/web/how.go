package web

import (
	"context"
	"net/http"

	"strokewise/analyzer/station"
	"strokewise/dashboards/board"
)

// Explain says how the figures of a station are obtained at this moment.
type Explain func(ctx context.Context, k station.Key) ([]station.Explanation, error)

// howView is the page on which an engineer can argue with the figures.
type howView struct {
	Root, Version, Name, Site, Key string
	At, Problem                    string
	Figures                        []howFigure
}

// howFigure is one figure with everything that it was obtained from.
type howFigure struct {
	row
	ID, What, From, Needs, Formula, Source string
	Inputs                                 []howInput
	Assumed                                int // inputs that are not known of this station
}

type howInput struct{ Name, Value, From string }

// how shows how each figure of a station is obtained.
func (s *site) how(w http.ResponseWriter, r *http.Request) {
	k := keyIn(r)
	one, ok := s.known(w, k)
	if !ok {
		return
	}
	v := howView{Root: pageRoot + "../", Version: s.Version, Name: k.Station, Site: k.Site, Key: path(k), At: clock(station.InstantOf(s.Now()))}
	status := http.StatusOK
	switch list, err := s.explain(r.Context(), k); {
	case err != nil:
		status, v.Problem = http.StatusServiceUnavailable, err.Error()
	default:
		for i := range list {
			v.Figures = append(v.Figures, howOf(&list[i], &one))
		}
	}
	s.renderAs(w, status, "how.html", v)
}

// explain asks for a station's explanations, a few at once.
func (s *site) explain(ctx context.Context, k station.Key) ([]station.Explanation, error) {
	if s.Explain == nil {
		return nil, errText("this program does not say how its figures are obtained")
	}
	ctx, cancel := context.WithTimeout(ctx, queryTime)
	defer cancel()
	leave, err := s.queue(ctx)
	if err != nil {
		return nil, errText("too many are asking at once: try again in a moment")
	}
	defer leave()
	return s.Explain(ctx, k)
}

// howOf puts an explanation in words.
func howOf(x *station.Explanation, b *board.Station) howFigure {
	h := howFigure{ID: x.Name, What: x.What, Needs: x.Needs, Formula: x.Formula, Source: x.Source}
	if x.Factor == 0 {
		h.row = sumRow(x, b)
	} else {
		if f, ok := station.FigureOf(x.Name); ok {
			h.row = figureRow(f, &x.Estimate, b.Plate.Reading)
		}
		if x.Estimate.From != 0 {
			h.From = clock(x.Estimate.From)
		}
	}
	h.Name = x.Title
	if h.Why == "" {
		h.Needs = ""
	}
	for i := range x.Inputs {
		in := b.Plate.Reading.Input(x.Inputs[i])
		h.Inputs = append(h.Inputs, howInput{in.Name, in.Shown(), in.From()})
		if in.Origin == station.Assumed {
			h.Assumed++
		}
	}
	return h
}

// sumRows are the rows of totalRows that tell of a sum.
var sumRows = map[string]int{"strokes": 0, "inlet_air": 1, "exhaust_air": 2, "delivered_air": 3}

// sumRow gives what is known of a sum: since counting began, duty of today.
func sumRow(x *station.Explanation, b *board.Station) row {
	if i, ok := sumRows[x.Name]; ok {
		r := totalRows(&b.Totals)[i]
		r.How = "since counting began"
		return r
	}
	if x.Name == "duty" {
		return todayRows(b)[0]
	}
	return row{Value: x.Said}
}
