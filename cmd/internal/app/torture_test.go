package app

import (
	"context"
	"database/sql"
	"fmt"
	"io"
	"net/http"
	"path/filepath"
	"runtime"
	"strings"
	"sync"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"

	"strokewise/analyzer/station"
	"strokewise/cmd/internal/health"
	"strokewise/collector/mqtt"
	"strokewise/collector/playback"
	"strokewise/deploy/peers"
)

// page gives what a path of the pages answers.
func page(t testing.TB, a *App, path string) (int, string) {
	t.Helper()
	res, err := http.Get("http://" + a.Addr() + path)
	if err != nil {
		t.Fatal(err)
	}
	defer res.Body.Close()
	b, _ := io.ReadAll(res.Body)
	http.DefaultClient.CloseIdleConnections()
	return res.StatusCode, string(b)
}

// The log's quota is used up by samples that are not analysed, since the history is out of order in the
// middle of a plant's day, while ten thousands of messages follow: then, and only then, acknowledging
// stops. Everything says so and names who holds the log; a person's word is still written down; memory
// stays flat and the broker keeps the messages. With the history in order all come in, and the
// conclusions are those of an undisturbed run.
func TestAUsedUpQuotaChangesNoConclusion(t *testing.T) {
	from, want := begun, undisturbed(t)
	broker := peers.Mosquitto(t)
	o := plant(t, broker.Addr)
	var log said
	o.Logger, o.MaxBytes = log.logger(), 500_000
	o.Every = seldom
	o.Every.Answer = 10 * time.Millisecond
	a, stop := running(t, o)
	mend := outOfOrder(a)
	played := playing(t, broker.Addr, from, 0)
	waitFor(t, "a full log", func() bool { return a.batch.Figures().Full })
	note(t, a, "while the log is full")
	if s := stateOf(t, a, "sample-log"); s.Level != health.Fails || !strings.Contains(s.Reason, "no sample is acknowledged") || !strings.Contains(s.Reason, "not analysed yet; partition") {
		t.Errorf("%+v", s)
	}
	waitFor(t, "the age of what is not committed", func() bool { age, _ := a.commitAge(time.Now()); return age > time.Second })
	played()
	ghosts(t, broker.Addr, 5000)
	before := heap()
	ghosts(t, broker.Addr, 30_000)
	after := heap()
	t.Logf("heap %d KiB when the log became full, %d KiB after 30,000 more messages at the broker", before>>10, after>>10)
	if after > before+8<<20 {
		t.Errorf("the heap grew from %d to %d bytes", before, after)
	}
	if f := a.batch.Figures(); f.Queue > f.QueueCap || !f.Full {
		t.Errorf("figures %+v", f)
	}
	if code, body := page(t, a, "/readyz"); code != http.StatusServiceUnavailable || !strings.Contains(body, "sample log is full") || !strings.Contains(body, "log.max_bytes") {
		t.Errorf("readyz answers %d: %s", code, body)
	}
	if _, body := page(t, a, "/metrics"); !strings.Contains(body, "strokewise_log_full 1\n") {
		t.Error("the metric does not say that the log is full")
	}
	if text := log.String(); strings.Count(text, "no message is acknowledged") != 1 || !strings.Contains(text, "not analysed yet") {
		t.Errorf("said: %s", text)
	}
	mend()
	waitFor(t, "all messages", func() bool {
		return a.received().Received >= 35_000 && !a.batch.Figures().Full && a.batch.Figures().Queue == 0
	})
	settle(t, a)
	if age, n := a.commitAge(time.Now()); age > 0 {
		t.Errorf("partition %d has had something to commit for %s although all is committed", n, age)
	}
	if s := stateOf(t, a, "sample-log"); s.Level != health.Works {
		t.Errorf("%+v", s)
	}
	stop()
	same(t, want, concluded(t, o))
}

func heap() uint64 {
	var m runtime.MemStats
	runtime.GC()
	runtime.ReadMemStats(&m)
	return m.HeapAlloc
}

// ghosts publishes messages of a station that is not configured.
func ghosts(t testing.TB, addr string, n int) {
	t.Helper()
	p, err := mqtt.NewPublisher(t.Context(), "tcp://"+addr, "ghosts")
	if err != nil {
		t.Fatal(err)
	}
	defer p.Close()
	payload := []byte(`{"t0":1,"dt":0.01,"v":[` + strings.Repeat("612.4,", 99) + `612.4]}`)
	var tokens []paho.Token
	for range n {
		tokens = append(tokens, p.Send("boost/northdock/ghost/inlet_pressure", payload))
	}
	for _, k := range tokens {
		if !k.WaitTimeout(patience) || k.Error() != nil {
			t.Fatal("cannot publish: ", k.Error())
		}
	}
}

// edge is a publisher that sends each message until a broker has taken it.
type edge struct {
	addr string
	mu   sync.Mutex
	p    *mqtt.Publisher
	sent int
}

func (e *edge) publish(ctx context.Context, topic string, payload []byte) error {
	e.mu.Lock()
	defer e.mu.Unlock()
	for ctx.Err() == nil {
		c, cancel := context.WithTimeout(ctx, 2*time.Second)
		var err error
		if e.p == nil {
			e.p, err = mqtt.NewPublisher(c, "tcp://"+e.addr, "edge")
		}
		if err == nil {
			err = e.p.Publish(c, topic, payload)
		}
		cancel()
		if err == nil {
			e.sent++
			return nil
		}
		e.close()
	}
	return ctx.Err()
}

func (e *edge) close() {
	if e.p != nil {
		e.p.Close()
		e.p = nil
	}
}

// The broker is restarted five times in mid-stream; it keeps its queues, and so the
// conclusions are those of an undisturbed run.
func TestMosquittoIsRestartedInMidStream(t *testing.T) {
	t.Parallel() // it waits more than it works
	from, want := begun, undisturbed(t)
	broker := peers.LastingMosquitto(t)
	o := plant(t, broker.Addr)
	o.MQTT.MaxWait = 200 * time.Millisecond
	a, stop := running(t, o)
	e := &edge{addr: broker.Addr}
	defer e.close()
	played := through(t, from, 5*time.Millisecond, e.publish)
	for range 5 {
		waitFor(t, "the subscription", func() bool { return a.received().Subscribed })
		time.Sleep(400 * time.Millisecond)
		broker.Stop()
		time.Sleep(100 * time.Millisecond)
		broker.Restart()
	}
	played()
	settle(t, a)
	t.Logf("%d messages, %d connections after the first", e.sent, a.received().Reconnects)
	if a.received().Reconnects < 5 {
		t.Errorf("%d reconnections", a.received().Reconnects)
	}
	stop()
	same(t, want, concluded(t, o))
}

// The broker is killed five times in mid-stream. It takes with it what it had accepted and
// not yet sent on: that is lost, and no more; nothing is counted twice.
func TestMosquittoIsKilledInMidStream(t *testing.T) {
	t.Parallel() // it waits more than it works
	from, want := begun, undisturbed(t)
	broker := peers.Mosquitto(t)
	o := plant(t, broker.Addr)
	o.MQTT.MaxWait = 200 * time.Millisecond
	a, stop := running(t, o)
	e := &edge{addr: broker.Addr}
	defer e.close()
	played := through(t, from, 5*time.Millisecond, e.publish)
	for range 5 {
		time.Sleep(400 * time.Millisecond)
		broker.Kill()
		broker.Restart()
		// the session is gone with it: the edge goes on when we are back
		e.mu.Lock()
		waitFor(t, "the subscription", func() bool { return a.received().Subscribed })
		e.mu.Unlock()
	}
	played()
	settle(t, a)
	stop()
	got := concluded(t, o)
	for k, w := range want {
		var a, b int64
		for i := range w.Minutes {
			a += w.Minutes[i].Strokes
		}
		for i := range got[k].Minutes {
			b += got[k].Minutes[i].Strokes
		}
		t.Logf("%s: %d strokes, undisturbed %d", k, b, a)
		if b > a+1 || b < a*8/10-10 || len(got[k].Minutes) != len(w.Minutes) {
			t.Errorf("%s: %d strokes in %d minutes, undisturbed %d in %d", k, b, len(got[k].Minutes), a, len(w.Minutes))
		}
	}
}

// Every message comes twice, and neighbours of a station come in the wrong order.
func TestDuplicatesAndDisorderThroughTheBroker(t *testing.T) {
	from, want := begun, undisturbed(t)
	broker := peers.Mosquitto(t)
	o := plant(t, broker.Addr)
	a, stop := running(t, o)
	p, err := mqtt.NewPublisher(t.Context(), "tcp://"+broker.Addr, "edge")
	if err != nil {
		t.Fatal(err)
	}
	defer p.Close()
	var mu sync.Mutex
	held := map[string][]byte{} // by topic: a message that its successor overtakes
	send := func(topic string, payloads ...[]byte) error {
		for _, b := range payloads {
			if b == nil {
				continue
			}
			if err := p.Publish(t.Context(), topic, b); err != nil {
				return err
			}
		}
		return nil
	}
	n := 0
	through(t, from, 0, func(_ context.Context, topic string, payload []byte) error {
		mu.Lock()
		defer mu.Unlock()
		if n++; n%3 == 0 && held[topic] == nil {
			held[topic] = append([]byte(nil), payload...)
			return nil
		}
		before := held[topic]
		held[topic] = nil
		return send(topic, payload, before, payload)
	})()
	for topic, b := range held {
		if err := send(topic, b); err != nil {
			t.Fatal(err)
		}
	}
	settle(t, a)
	stop()
	same(t, want, concluded(t, o))
}

// Somebody holds the history's lock for longer than a commit waits: the analyzer stands,
// the log takes what comes, and nothing is lost or counted twice.
func TestABlockedAnalyzer(t *testing.T) {
	from, want := begun, undisturbed(t)
	broker := peers.Mosquitto(t)
	o := plant(t, broker.Addr)
	var log said
	o.Logger = log.logger()
	a, stop := running(t, o)
	db, err := sql.Open("sqlite", "file:"+filepath.Join(o.Data, "history.db")+"?_txlock=immediate")
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	tx, err := db.Begin()
	if err != nil {
		t.Fatal(err)
	}
	play(t, broker.Addr, from, 0)
	waitFor(t, "a commit that fails", func() bool { return strings.Contains(log.String(), "cannot commit") })
	if err := tx.Rollback(); err != nil {
		t.Fatal(err)
	}
	settle(t, a)
	stop()
	same(t, want, concluded(t, o))
}

// An hour's queue of eight stations at the edge, a block a second and channel, all at once
// after an outage, while we were away and the broker held it.
func TestAnHoursQueueAfterAnOutage(t *testing.T) {
	broker := peers.Mosquitto(t)
	var ids []string
	for i := range 8 {
		ids = append(ids, fmt.Sprint("press-", i))
	}
	o := options(t, broker.Addr, ids...)
	_, stop := running(t, o) // makes the session
	stop()
	p, err := mqtt.NewPublisher(t.Context(), "tcp://"+broker.Addr, "edge")
	if err != nil {
		t.Fatal(err)
	}
	defer p.Close()
	begin := time.Now().Add(-70 * time.Minute).Truncate(time.Minute)
	const seconds = 3600
	var tokens []paho.Token
	for s := range seconds {
		for i, id := range ids {
			at, c := begin.Unix()+int64(s), s*(1+i%2)
			v := fmt.Sprintf("%d,%d,%d,%d,%d", 600+s%7, 601+s%5, 602, 603-s%3, 604)
			tokens = append(tokens,
				p.Send("boost/"+playback.Site+"/"+id, fmt.Appendf(nil, `{"t0":%d,"dt":0.2,"inlet_pressure":[%s],"outlet_pressure":[%s],"cycles":[%d,%d,%d,%d,%d]}`, at, v, v, c, c, c, c, c)))
		}
	}
	for _, k := range tokens {
		if !k.WaitTimeout(patience) || k.Error() != nil {
			t.Fatal(k.Error())
		}
	}
	began := time.Now()
	a, stop := running(t, o)
	waitFor(t, "the whole queue", func() bool { return a.batch.Figures().Samples == int64(len(ids)*seconds*15) })
	settle(t, a)
	t.Logf("%d messages of %d stations in %s", len(tokens), len(ids), time.Since(began).Round(time.Millisecond))
	stop()
	for k, c := range concluded(t, o) {
		var covered, strokes int64
		for i := range c.Minutes {
			covered, strokes = covered+c.Minutes[i].Covered, strokes+c.Minutes[i].Strokes
		}
		var i int64
		fmt.Sscanf(k.Station, "press-%d", &i)
		// the last minute stays open: 3,540 s of steady counting, two strokes a cycle
		want := 2 * (1 + i%2) * 3539
		if len(c.Minutes) != 59 || covered != 3540*station.Second || strokes < want-4 || strokes > want+4 {
			t.Errorf("%s: %d minutes, %d s, %d strokes, expected %d", k, len(c.Minutes), covered/station.Second, strokes, want)
		}
	}
}
