package main

import (
	"bufio"
	"bytes"
	"context"
	"fmt"
	"io"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"

	"strokewise/collector/mqtt"
	"strokewise/collector/playback"
)

// childEnv makes the test binary behave as the program: what the tests start, kill and
// measure is the program itself, built as the tests are (with the race detector too).
const childEnv = "STROKEWISE_TEST_RUN_MAIN"

// leaseEnv shortens the lease of a shared log, so that a test need not wait for the usual 15 s.
const leaseEnv = "STROKEWISE_TEST_LEASE"

// lateEnv shortens the wait for more late samples.
const lateEnv = "STROKEWISE_TEST_LATE"

func TestMain(m *testing.M) {
	if os.Getenv(childEnv) == "1" {
		leaseTTL, _ = time.ParseDuration(os.Getenv(leaseEnv))
		lateRest, _ = time.ParseDuration(os.Getenv(lateEnv))
		main()
		return
	}
	os.Exit(m.Run())
}

// child is a running program.
type child struct {
	t    testing.TB
	cmd  *exec.Cmd
	addr string
	done chan struct{}
	mu   sync.Mutex
	out  bytes.Buffer
}

var pagesAt = regexp.MustCompile(`pages(?: and metrics on)?\s+https?://(\S+)`)

// start starts the program and waits until it says where its pages are.
func start(t testing.TB, args ...string) *child {
	t.Helper()
	c := &child{t: t, done: make(chan struct{})}
	c.cmd = exec.Command(os.Args[0], args...)
	c.cmd.Env = append(os.Environ(), childEnv+"=1")
	out, err := c.cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	c.cmd.Stderr = c
	if err := c.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	found := make(chan string, 1)
	go func() {
		defer close(c.done)
		s := bufio.NewScanner(out)
		for s.Scan() {
			fmt.Fprintln(c, s.Text())
			if m := pagesAt.FindStringSubmatch(s.Text()); m != nil {
				select {
				case found <- m[1]:
				default:
				}
			}
		}
		c.cmd.Wait()
	}()
	t.Cleanup(c.kill)
	select {
	case c.addr = <-found:
	case <-c.done:
		t.Fatalf("the program ended: %s", c.said())
	case <-time.After(patience):
		t.Fatalf("the program does not say where its pages are: %s", c.said())
	}
	return c
}

// patience is how long something may take that must happen, on a machine however busy.
const patience = 5 * time.Minute

// Write keeps what the program says.
func (c *child) Write(p []byte) (int, error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.out.Write(p)
}

func (c *child) said() string {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.out.String()
}

// kill is kill -9.
func (c *child) kill() {
	c.cmd.Process.Kill()
	<-c.done
}

// interrupt is Ctrl-C; it gives the exit code.
func (c *child) interrupt() int {
	c.t.Helper()
	c.cmd.Process.Signal(os.Interrupt)
	select {
	case <-c.done:
	case <-time.After(patience):
		c.t.Fatalf("the program does not end: %s", c.said())
	}
	return c.cmd.ProcessState.ExitCode()
}

func (c *child) get(path string) (int, string) {
	res, err := http.Get("http://" + c.addr + path)
	if err != nil {
		return 0, err.Error()
	}
	defer res.Body.Close()
	b, _ := io.ReadAll(res.Body)
	return res.StatusCode, string(b)
}

// await waits until a path answers 200 and ok says so of its body.
func (c *child) await(what, path string, ok func(body string) bool) string {
	c.t.Helper()
	var code int
	var body string
	for until := time.Now().Add(patience); time.Now().Before(until); time.Sleep(50 * time.Millisecond) {
		if code, body = c.get(path); code == http.StatusOK && ok(body) {
			return body
		}
		select {
		case <-c.done:
			c.t.Fatalf("waiting for %s: the program ended: %s", what, c.said())
		default:
		}
	}
	c.t.Fatalf("waited in vain for %s; %s answers %d: %s\n%s", what, path, code, body, c.said())
	return ""
}

func (c *child) ready() {
	c.t.Helper()
	c.await("readiness", "/readyz", func(string) bool { return true })
}

// metric gives the value of the first series whose line begins with name; false: none.
func metric(body, name string) (float64, bool) {
	for _, l := range strings.Split(body, "\n") {
		if rest, ok := strings.CutPrefix(l, name); ok {
			var v float64
			if _, err := fmt.Sscanf(rest[strings.LastIndexByte(rest, ' ')+1:], "%g", &v); err == nil {
				return v, true
			}
		}
	}
	return 0, false
}

// write writes a file into a new folder.
func write(t testing.TB, name, text string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

// configOf gives a configuration of the recordings' stations.
func configOf(t testing.TB, broker, data, more string) string {
	t.Helper()
	return write(t, "strokewise.yaml", configText(t, broker, data, more))
}

// configText returns the text of such a configuration.
func configText(t testing.TB, broker, data, more string) string {
	t.Helper()
	rs, err := playback.Recordings()
	if err != nil {
		t.Fatal(err)
	}
	var b strings.Builder
	fmt.Fprintf(&b, `version: 1
http: { listen: "127.0.0.1:0" }
mqtt:
  broker: tcp://%s
  client_id: strokewise-test
  topics: [{ match: "boost/{site}/{station}/{channel}" }, { match: "boost/{site}/{station}" }]
data: %s
log: { keep: 48 h, max_bytes: 1 GB }
sites: [{ id: %s, zone: %s }]
%sstations:
`, broker, data, playback.Site, playback.Zone, more)
	for _, r := range rs {
		p := &r.Plate
		fmt.Fprintf(&b, `  - id: %s
    branch: %s
    booster: { drive_bore: 80 mm, boost_bore: 80 mm, rod: 20 mm, stroke: 70 mm, set_pressure: 1000 kPa }
    tank: { volume: %g L, relief_pressure: 1250 kPa }
    limits: { silence: 1 h }
`, p.Key.Station, p.Branch, p.TankVolume*1e3)
	}
	return b.String()
}

// playAll plays one round of all recordings to a broker, their first samples at the given
// time, with pace of wall time for each second of recording.
func playAll(t testing.TB, addr string, from time.Time, pace time.Duration) {
	t.Helper()
	ctx := t.Context()
	rs, err := playback.Recordings()
	if err != nil {
		t.Fatal(err)
	}
	p, err := mqtt.NewPublisher(ctx, "tcp://"+addr, "sensors")
	if err != nil {
		t.Fatal(err)
	}
	defer p.Close()
	err = playback.New(playback.Options{Recordings: rs, Start: from, Rounds: 1, Publish: p.Publish,
		Wait: func(ctx context.Context, _ time.Time) error {
			if pace > 0 {
				time.Sleep(pace)
			}
			return ctx.Err()
		}}).Run(ctx)
	if err != nil {
		t.Fatal(err)
	}
}
