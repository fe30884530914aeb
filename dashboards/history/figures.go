package history

import (
	"context"
	"database/sql"
	"fmt"
	"reflect"

	"strokewise/analyzer/station"
)

// figureInsert keeps what is stored already: a replay concludes the same again.
const figureInsert = `INSERT INTO figures (station, start, segment, figure, value, low, high, method, confidence, obtained)
	VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?) ON CONFLICT DO NOTHING`

// figureValues appends the values of a row after the station to dst.
func figureValues(dst []any, f *station.HourFigure) []any {
	low, high := real(f.Low), real(f.High)
	if f.Low == 0 && f.High == 0 {
		low, high = nil, nil
	}
	return append(dst, int64(f.Hour), int64(f.Segment), station.Figures[f.Figure].Name, f.Value, low, high,
		f.Method.String(), real(f.Confidence), int64(f.At))
}

// figures stores hourly figures of a station, and queues those that were not stored already.
func (tx *transaction) figures(id int64, list []station.HourFigure) error {
	for i := range list {
		f := &list[i]
		if f.Figure >= station.NumFigures || real(f.Value) == nil {
			continue
		}
		tx.args = figureValues(append(tx.args[:0], id), f)
		n, err := changed(tx.stmt.figure.ExecContext(tx.ctx, tx.args...))
		if err == nil && n > 0 {
			err = tx.queue(id, int64(f.Hour), int64(f.Segment), nil, station.Figures[f.Figure].Name)
		}
		if err != nil {
			return fmt.Errorf("figure %s of hour %s: %w", station.Figures[f.Figure].Name, f.Hour, err)
		}
	}
	return nil
}

// Figures gives the figures that a station had in the hours that start in [from, to), in
// order of time, segment and name. Those of a name that this program does not know are left
// out.
func (s *Store) Figures(ctx context.Context, k station.Key, from, to station.Instant) ([]station.HourFigure, error) {
	var out []station.HourFigure
	err := s.each(ctx, "figures", func(rows *sql.Rows) error {
		var f station.HourFigure
		ok, err := scanFigure(rows, &f)
		if ok {
			out = append(out, f)
		}
		return err
	}, `SELECT `+figureColumns+` FROM figures f
		WHERE `+ofStation+` AND start >= ? AND start < ? ORDER BY start, segment, figure`, k.Site, k.Station, int64(from), int64(to))
	return out, err
}

const figureColumns = `f.start, f.segment, f.figure, f.value, f.low, f.high, f.method, f.confidence, f.obtained`

// scanFigure reads a row of figureColumns and what follows them; false: this program does not
// know the name.
func scanFigure(rows *sql.Rows, f *station.HourFigure, more ...any) (ok bool, err error) {
	var name, method string
	var low, high, confidence sql.NullFloat64
	to := append([]any{&f.Hour, &f.Segment, &name, &f.Value, &low, &high, &method, &confidence, &f.At}, more...)
	if err := rows.Scan(to...); err != nil {
		return false, err
	}
	f.Figure, ok = station.FigureOf(name)
	f.Low, f.High, f.Confidence, f.Method = low.Float64, high.Float64, confidence.Float64, methods[method]
	return ok, nil
}

// ClosedHour names an hour that an analysis has seen to its end, with the figures that it
// concluded.
type ClosedHour struct {
	Start   station.Instant
	Segment uint32
	Figures []station.HourFigure
}

// CompareFigures gives the hours, of those given in order of time, whose stored figures
// differ from what is given. An hour without stored minutes is left out, as in Compare.
func (s *Store) CompareFigures(ctx context.Context, k station.Key, hours []ClosedHour) ([]ClosedHour, error) {
	if len(hours) == 0 {
		return nil, nil
	}
	type key struct {
		start   station.Instant
		segment uint32
	}
	from, to := hours[0].Start, hours[len(hours)-1].Start+1
	stored, err := s.Hours(ctx, k, from, to)
	if err != nil {
		return nil, err
	}
	there := make(map[key]bool, len(stored))
	for i := range stored {
		there[key{stored[i].Start, stored[i].Segment}] = true
	}
	list, err := s.Figures(ctx, k, from, to)
	if err != nil {
		return nil, err
	}
	was := make(map[key]map[string][]any)
	for i := range list {
		h := key{list[i].Hour, list[i].Segment}
		if was[h] == nil {
			was[h] = make(map[string][]any)
		}
		was[h][station.Figures[list[i].Figure].Name] = figureValues(nil, &list[i])
	}
	var out []ClosedHour
	for _, c := range hours {
		h := key{c.Start, c.Segment}
		if there[h] && !sameFigures(was[h], c.Figures) {
			out = append(out, c)
		}
	}
	return out, nil
}

func sameFigures(was map[string][]any, is []station.HourFigure) bool {
	if len(was) != len(is) {
		return false
	}
	for i := range is {
		if !reflect.DeepEqual(was[station.Figures[is[i].Figure].Name], figureValues(nil, &is[i])) {
			return false
		}
	}
	return true
}

// refigure puts the figures of an hour in the place of the stored ones.
func (tx *transaction) refigure(id int64, h *ClosedHour) error {
	if _, err := tx.ExecContext(tx.ctx, `DELETE FROM figures WHERE station = ? AND start = ? AND segment = ?`, id, int64(h.Start), int64(h.Segment)); err != nil {
		return fmt.Errorf("figures of hour %s: %w", h.Start, err)
	}
	return tx.figures(id, h.Figures)
}
