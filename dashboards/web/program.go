package web

import (
	"fmt"
	"maps"
	"math"
	"net/http"
	"slices"
	"strconv"

	"strokewise/analyzer/station"
	"strokewise/dashboards/board"
)

// programView is the page about the program itself.
type programView struct {
	Root, Version string
	At            string
	Problems      []string // why it is not ready
	Parts         []partView
	Groups        []figureGroup
}

// partView is how a part of the program does.
type partView struct {
	Name, Level, Class string
	Since, Reason      string
	Todo               string // empty while it works
}

// figureGroup holds figures of one stretch of the way from message to notification.
type figureGroup struct {
	Name    string
	Figures []figureView
}

type figureView struct{ Name, Value string }

// levelWords are the levels of parts in words, with the class in which they are shown.
var levelWords = map[string][2]string{"works": {"works", ""}, "doubtful": {"in doubt", "priority low"}, "fails": {"fails", "priority high"}}

// program shows how the parts of the program do, and its figures.
func (s *site) program(w http.ResponseWriter, _ *http.Request) {
	var p board.Pipeline
	if s.Pipeline != nil {
		p = s.Pipeline()
	}
	s.render(w, "program.html", aboutProgram(&p, reasons(s.ready()), station.InstantOf(s.Now()), s.Version))
}

// aboutProgram builds the page.
func aboutProgram(p *board.Pipeline, problems []string, now station.Instant, version string) programView {
	v := programView{Version: version, At: clock(now), Problems: problems}
	for i := range p.Parts {
		v.Parts = append(v.Parts, partOf(&p.Parts[i], now))
	}
	v.Groups = []figureGroup{{"Messages", messageFigures(p)}, {"Sample log", logFigures(p)}, {"History", historyFigures(p)}, {"Notifications", reachFigures(p)}}
	if p.Export != nil {
		v.Groups = append(v.Groups, figureGroup{"Export", exportFigures(p.Export)})
	}
	return v
}

func partOf(p *board.Part, now station.Instant) partView {
	w := levelWords[p.Level]
	v := partView{Name: p.Name, Level: w[0], Class: w[1], Since: clock(p.Since) + ", for " + span(now.Sub(p.Since)), Reason: p.Reason}
	if p.Level != "works" {
		v.Todo = p.Todo
	}
	return v
}

func messageFigures(p *board.Pipeline) []figureView {
	var refused int64
	for _, n := range p.Refused {
		refused += n
	}
	share := "too few messages to tell"
	if !math.IsNaN(p.RefusedRatio) {
		share = number(100*p.RefusedRatio, 1) + " %"
	}
	connected := "no"
	if p.Connected {
		connected = "yes"
	}
	return []figureView{{"Connected to the broker", connected}, {"Connections after the first", whole(p.Reconnects)}, {"Messages received", whole(p.Messages)},
		{"Samples accepted", whole(p.Samples)}, {"Messages refused", whole(refused)}, {"Share refused in the last five minutes", share},
		{"Messages waiting for the log", fmt.Sprintf("%d of at most %d", p.Queue, p.QueueCap)}}
}

func logFigures(p *board.Pipeline) []figureView {
	var behind uint64
	for _, n := range p.Behind {
		behind += n
	}
	size := megabytes(p.LogBytes)
	if p.LogMaxBytes > 0 {
		size += " of at most " + megabytes(p.LogMaxBytes)
	}
	return []figureView{{"Stored", size}, {"Entries appended", whole(p.LogEntries)}, {"Entries not analyzed yet", strconv.FormatUint(behind, 10)},
		{"Places where entries are missing", whole(p.LogGaps)}, {"Asked", asked(p, "log")}}
}

func historyFigures(p *board.Pipeline) []figureView {
	out := []figureView{{"Commits", whole(p.Commits)}}
	if p.Commits > 0 {
		out = append(out, figureView{"Newest commit", number(p.CommitAge, 1) + " s ago, took " + number(1e3*p.CommitSeconds, 1) + " ms"})
	}
	if p.SnapshotAge > 0 {
		out = append(out, figureView{"Oldest snapshot", number(p.SnapshotAge, 0) + " s ago"})
	}
	return append(out, figureView{"Probed", asked(p, "history")})
}

// reachFigures lists the receivers by name.
func reachFigures(p *board.Pipeline) []figureView {
	names := slices.Sorted(maps.Keys(p.Delivered))
	out := make([]figureView, 0, len(names)+1)
	for _, name := range names {
		text := fmt.Sprintf("%d delivered, %d attempts failed, %d wait", p.Delivered[name], p.DeliverFailed[name], p.OutboxPending[name])
		if age, ok := p.OutboxAge[name]; ok {
			text += ", the oldest for " + span(int64(age*1e9))
		}
		if n := p.Withheld[name]; n > 0 {
			text += fmt.Sprintf(", %d not told because of routes or maintenance", n)
		}
		out = append(out, figureView{name, text})
	}
	return append(out, figureView{"Counted", asked(p, "outbox")})
}

func exportFigures(e *board.Export) []figureView {
	var dropped int64
	for _, n := range e.Dropped {
		dropped += n
	}
	return []figureView{{"Points taken by the server", whole(e.Points)}, {"Rows waiting", whole(e.Pending)}, {"Oldest of them", span(int64(e.Age * 1e9))},
		{"Requests that failed", whole(e.Failed)}, {"Rows given up", whole(dropped)}}
}

// asked returns how long ago somebody answered for the figures.
func asked(p *board.Pipeline, source string) string {
	age, ok := p.AnswerAge[source]
	if !ok {
		return "no answer yet"
	}
	return number(age, 1) + " s ago"
}

func whole(n int64) string { return strconv.FormatInt(n, 10) }

func megabytes(n int64) string { return number(float64(n)/1e6, 1) + " MB" }
