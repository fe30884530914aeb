package app

import (
	"bytes"
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"strokewise/cmd/internal/health"
	"strokewise/collector/mqtt"
	"strokewise/collector/playback"
	"strokewise/dashboards/board"
	"strokewise/deploy/peers"
	"strokewise/rules/notify"
)

// watched returns options with a dead man's signal, whose calls are counted, and ticks and figures often.
func watched(t *testing.T, addr string) (Options, *atomic.Int64) {
	t.Helper()
	var calls atomic.Int64
	watch := httptest.NewServer(http.HandlerFunc(func(http.ResponseWriter, *http.Request) { calls.Add(1) }))
	t.Cleanup(watch.Close)
	o := options(t, addr, "press-4")
	o.Every = Intervals{Commit: 10 * time.Millisecond, Tick: 50 * time.Millisecond, Figures: 50 * time.Millisecond}
	o.Reach.DeadMan = &notify.DeadMan{URL: watch.URL, Every: 20 * time.Millisecond}
	return o, &calls
}

// seenFailing waits until a part fails and holds readiness, page, metric and dead man's signal to it.
func seenFailing(t *testing.T, a *App, calls *atomic.Int64, part, reason string) {
	t.Helper()
	waitFor(t, part+" to fail", func() bool { return fails(a, part) })
	if err := a.Ready(); err == nil || !strings.Contains(err.Error(), part+": ") || !strings.Contains(err.Error(), reason) {
		t.Errorf("readiness says %v, want %s with %q", err, part, reason)
	}
	if code, body := page(t, a, "/readyz"); code != http.StatusServiceUnavailable || !strings.Contains(body, reason) {
		t.Errorf("/readyz answers %d: %s", code, body)
	}
	if _, body := page(t, a, "/metrics"); !strings.Contains(body, fmt.Sprintf(`strokewise_part_state{level="fails",part=%q} 1`, part)) || !strings.Contains(body, "strokewise_ready 0\n") {
		t.Errorf("/metrics does not say that %s fails", part)
	}
	if err := a.reaches(); err == nil {
		t.Error("the dead man's signal would go on")
	}
	if d := a.opt.Reach.DeadMan; d.Ready() == nil || calls.Load() == 0 {
		t.Errorf("the dead man's signal: ready %v after %d calls", d.Ready(), calls.Load())
	}
}

func fails(a *App, part string) bool {
	for _, s := range a.Health().Failing() {
		if s.Part == part {
			return true
		}
	}
	return false
}

// A page of the history is lost while the program runs, as when a disk loses some sectors: the one that the
// outbox begins with, so that commits without an alarm go on.
func TestADamagedHistoryIsNotReady(t *testing.T) {
	o, calls := watched(t, peers.Mosquitto(t).Addr)
	a, stop := running(t, o)
	waitFor(t, "a sign of life", func() bool { return calls.Load() > 0 })
	path := filepath.Join(o.Data, "history.db")
	db, err := sql.Open("sqlite", "file:"+path)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := db.Exec(`PRAGMA wal_checkpoint(TRUNCATE)`); err != nil {
		t.Fatal(err)
	}
	var root int64
	if err := db.QueryRow(`SELECT rootpage FROM sqlite_schema WHERE name = 'outbox'`).Scan(&root); err != nil {
		t.Fatal(err)
	}
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		t.Fatal(err)
	}
	const bytesOfPage = 4096 // SQLite's default
	if _, err := f.WriteAt(bytes.Repeat([]byte{0xa5}, bytesOfPage), (root-1)*bytesOfPage); err != nil {
		t.Fatal(err)
	}
	f.Close()
	db.Close()
	seenFailing(t, a, calls, "history", "damaged")
	stop()
}

// The log's servers lose their majority while no message comes.
func TestALogWithoutQuorumIsNotReadyThoughNothingArrives(t *testing.T) {
	t.Parallel() // it waits more than it works
	nodes := logCluster(t)
	o, calls := watched(t, peers.Mosquitto(t).Addr)
	o.LogURL = nodes[0].ClientURL() + "," + nodes[1].ClientURL() + "," + nodes[2].ClientURL()
	a, stop := running(t, o)
	waitFor(t, "a sign of life", func() bool { return calls.Load() > 0 })
	for _, n := range nodes[:2] {
		n.Shutdown()
		n.WaitForShutdown()
	}
	seenFailing(t, a, calls, "sample-log", "the sample log")
	stop()
}

// Every message of the plant is refused: a unit was changed at the gateway, say.
func TestRefusingAllIsNotReady(t *testing.T) {
	broker := peers.Mosquitto(t)
	o, calls := watched(t, broker.Addr)
	a, stop := running(t, o)
	waitFor(t, "a sign of life", func() bool { return calls.Load() > 0 })
	pub, err := mqtt.NewPublisher(t.Context(), "tcp://"+broker.Addr, "sensors")
	if err != nil {
		t.Fatal(err)
	}
	defer pub.Close()
	for range 2 * refusalLeast {
		if err := pub.Publish(t.Context(), "boost/"+playback.Site+"/press-4/outlet_pressure", []byte("eight bar")); err != nil {
			t.Fatal(err)
		}
	}
	seenFailing(t, a, calls, "refused", "all ")
	if p := a.Pipeline(); p.RefusedRatio != 1 {
		t.Errorf("the share of refused messages is %v, want 1: nothing else came", p.RefusedRatio)
	}
	stop()
}

// Log, history and a partition in the middle of a commit answer nothing: readiness, pages and the scrape do.
func TestAScrapeWaitsForNobody(t *testing.T) {
	o, calls := watched(t, peers.Mosquitto(t).Addr)
	a, stop := running(t, o)
	waitFor(t, "a sign of life", func() bool { return calls.Load() > 0 })
	waitFor(t, "answers", func() bool { return len(a.Pipeline().AnswerAge) == len(a.questions) })
	release := make(chan struct{})
	for _, q := range a.questions {
		hang(q, release)
	}
	p := a.parts[o.Stations[0].Plate.Key.Partition()]
	p.mu.Lock() // as during a commit that does not end
	client := http.Client{Timeout: 10 * time.Second}
	for _, path := range []string{"/metrics", "/readyz", "/refused", "/program", "/"} {
		res, err := client.Get("http://" + a.Addr() + path)
		if err != nil {
			t.Errorf("%s: %v", path, err)
			continue
		}
		body, _ := io.ReadAll(res.Body)
		res.Body.Close()
		if path != "/readyz" && res.StatusCode != http.StatusOK {
			t.Errorf("%s answers %d", path, res.StatusCode)
		}
		if path == "/metrics" && !strings.Contains(string(body), `strokewise_answer_age_seconds{source="log"}`) {
			t.Errorf("/metrics does not say how old the log's answer is:\n%s", body)
		}
	}
	client.CloseIdleConnections()
	p.mu.Unlock()
	close(release)
	stop()
}

// hang lets a question wait until release is closed.
func hang(q *question, release <-chan struct{}) {
	q.mu.Lock()
	defer q.mu.Unlock()
	q.ask = func(context.Context) (func(*board.Pipeline), error) {
		<-release
		return nil, nil
	}
}

// A question that is not answered tells so, and is not asked twice meanwhile.
func TestAnUnansweredQuestionTells(t *testing.T) {
	var told atomic.Pointer[error]
	asked, release := make(chan struct{}, 8), make(chan struct{})
	q := &question{name: "log", tell: func(err error) { told.Store(&err) }, ask: func(context.Context) (func(*board.Pipeline), error) {
		asked <- struct{}{}
		<-release
		return nil, nil
	}}
	var wg sync.WaitGroup
	began := time.Now()
	q.pose(t.Context(), &wg, began)
	<-asked
	q.pose(t.Context(), &wg, began.Add(answerDue+time.Second))
	if err := told.Load(); err == nil || *err == nil || !strings.Contains((*err).Error(), "no answer for 11s") {
		t.Errorf("told %v", err)
	}
	close(release)
	wg.Wait()
	if err := told.Load(); *err != nil || len(asked) != 0 {
		t.Errorf("told %v, asked %d times more", *err, len(asked))
	}
}

// Every part that a running program names says what to do where it does not work.
func TestEveryPartSaysWhatToDo(t *testing.T) {
	o, _ := watched(t, peers.Mosquitto(t).Addr)
	o.Webhooks = []notify.Webhook{{Name: "crew", URL: "http://127.0.0.1:1"}}
	a, stop := running(t, o)
	defer stop()
	names := map[string]bool{}
	for _, s := range a.Health().List() {
		names[s.Part] = true
		if health.Todo(s.Part) == "" {
			t.Errorf("nothing is said of what to do about %s", s.Part)
		}
	}
	for _, want := range []string{"writer-0", "headers", "broker", "sample-log", "history", "notifications", "receiver-crew", "dead-man", "snapshots", "trim", "retention", "refused", "pages"} {
		if !names[want] {
			t.Errorf("%s reports nothing", want)
		}
	}
}

// A receiver that refuses is in doubt, fails after five minutes, and does so no longer than what it refused is
// tried again.
func TestReceiverFailsOnlyWhileItIsTried(t *testing.T) {
	now := time.Unix(1e9, 0)
	reg := health.New(func() time.Time { return now })
	p := reg.Part("receiver-crew", 0)
	away := errors.New("away")
	s := notify.State{Receiver: "crew", Trouble: away, Since: now, Again: now.Add(time.Minute)}
	level := func(again error) health.Level {
		receiver(p, &s, again, now)
		return reg.List()[0].Level
	}
	steps := []struct {
		after time.Duration // since the first attempt that failed
		again time.Duration // of the next attempt
		want  health.Level
	}{{0, time.Minute, health.Doubtful}, {receiverWithin - time.Second, 6 * time.Minute, health.Doubtful}, {receiverWithin, 6 * time.Minute, health.Fails},
		{6*time.Minute + senderWithin, 6 * time.Minute, health.Fails}, {6*time.Minute + senderWithin + time.Second, 6 * time.Minute, health.Works}}
	for _, x := range steps {
		now, s.Again = s.Since.Add(x.after), s.Since.Add(x.again)
		if got := level(nil); got != x.want {
			t.Errorf("after %s, next attempt at %s: %v, want %v", x.after, x.again, got, x.want)
		}
	}
	if got := level(away); got != health.Doubtful {
		t.Errorf("what stands is not told again: %v, want doubtful", got)
	}
	s.Gone = true
	if got := level(nil); got != health.Fails {
		t.Errorf("gone: %v, want fails", got)
	}
}
