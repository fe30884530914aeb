package reanalyse

import (
	"path/filepath"
	"slices"
	"testing"

	"strokewise/analyzer/station"
	"strokewise/cmd/internal/learned"
	"strokewise/cmd/internal/pipeline"
	"strokewise/collector/rig"
	"strokewise/collector/samplelog"
	"strokewise/dashboards/history"
)

// experience is what was learned before the log begins, far from what it tells: a reanalysis goes by the log alone.
func experience(t *testing.T, k station.Key, at station.Instant) history.Learned {
	t.Helper()
	var r learned.Record
	r.Set(&station.Learned{At: at, Supply: station.LearnedSupply{Sag: 5000, SagSeconds: 10000}, Air: station.LearnedAir{Efficiency: 0.5, EfficiencyBand: 0.01}})
	blob, err := r.Encode()
	if err != nil {
		t.Fatal(err)
	}
	return history.Learned{Key: k, At: at, Blob: blob}
}

// What a live run has stored does not differ from a reanalysis; what was tampered with
// does, and is put right.
func TestReanalysisAgreesWithTheLiveRun(t *testing.T) {
	ctx := t.Context()
	const start = station.Instant(1767225600e9)
	specs, err := rig.Plant(start)
	if err != nil {
		t.Fatal(err)
	}
	spec, err := rig.Find(specs, "press-4")
	if err != nil {
		t.Fatal(err)
	}
	spec.Sensors.Rate = 20
	k := spec.Plate.Key
	log, err := samplelog.Open(ctx, samplelog.Options{Dir: filepath.Join(t.TempDir(), "log"), MaxBytes: 1e9})
	if err != nil {
		t.Fatal(err)
	}
	defer log.Close()
	store, err := history.Open(filepath.Join(t.TempDir(), "history.db"), history.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer store.Close()
	v, u := rig.New(spec, start, 0), pipeline.New(spec.Plate, "1")
	position := uint64(0)
	for at := start; at < start.Add(7300*station.Second); at = at.Add(10 * station.Second) {
		blocks := v.Until(at.Add(10 * station.Second))
		if position, err = log.Append(ctx, k.Partition(), []station.Record{{Key: k, Arrival: at.Add(10 * station.Second), Blocks: blocks}}); err != nil {
			t.Fatal(err)
		}
		u.Samples(blocks, at.Add(10*station.Second))
	}
	out := u.Take()
	tampered := 40
	out.Minutes[tampered].Strokes += 5
	wrong := slices.IndexFunc(out.Figures, func(f station.HourFigure) bool {
		return f.Hour == start.Add(3600*station.Second) && f.Figure == station.SupplySag
	})
	if wrong < 0 {
		t.Fatalf("no sag in the second hour: %+v", out.Figures)
	}
	out.Figures[wrong].Value *= 2
	c := history.Commit{Partition: k.Partition(), Position: position, Stations: []history.StationMinutes{{Key: k, Revision: 1, Minutes: out.Minutes, Figures: out.Figures}}}
	c.Learned = []history.Learned{experience(t, k, start)}
	if err := store.Commit(ctx, []history.Commit{c}); err != nil {
		t.Fatal(err)
	}
	run := func() Result {
		t.Helper()
		rs, err := Run(ctx, log, store, []Station{{spec.Plate, "1"}}, 0, 0)
		if err != nil || len(rs) != 1 {
			t.Fatalf("%v, %v", rs, err)
		}
		return rs[0]
	}
	r := run()
	if r.Compared < 15 || len(r.Changed) != 1 || r.Changed[0].Was.Start != out.Minutes[tampered].Start || r.Changed[0].Was.Strokes-r.Changed[0].Is.Strokes != 5 {
		t.Fatalf("%d compared, changed %+v", r.Compared, r.Changed)
	}
	if len(r.Figures) != 1 || r.Figures[0].Start != out.Figures[wrong].Hour {
		t.Fatalf("hours of changed figures %+v", r.Figures)
	}
	if err := store.Replace(ctx, k, Revision, r.Changed, history.Act{What: "reanalyse"}, r.Figures...); err != nil {
		t.Fatal(err)
	}
	if r := run(); len(r.Changed)+len(r.Figures) != 0 {
		t.Errorf("still %+v", r.Changed)
	}
	if rs, err := Run(ctx, log, store, []Station{{spec.Plate, "1"}}, out.Minutes[45].Start, out.Minutes[47].Start); err != nil || rs[0].Compared != 2 {
		t.Errorf("from minute 45 to 47: %+v, %v", rs, err)
	}
}
