package app

import (
	"encoding/json"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/nats-io/nats.go"

	"strokewise/analyzer/station"
	"strokewise/cmd/internal/health"
	"strokewise/collector/samplelog"
	"strokewise/deploy/peers"
)

// garbage publishes a message to each partition's subject, as anybody can who reaches the server.
func garbage(t *testing.T, url string) {
	t.Helper()
	c, err := nats.Connect(url)
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	for n := range station.Partitions {
		if _, err := c.Request(fmt.Sprintf("sw.v1.samples.%d", n), []byte("rubbish"), patience); err != nil {
			t.Fatal(err)
		}
	}
}

// Somebody publishes a message of garbage to each of the sixteen partitions in mid-stream. All partitions
// go on, and conclude what an undisturbed run concludes, before and after a restart; each message is kept
// and counted, and the program says so. With a key and without one.
func TestGarbageStopsNoPartition(t *testing.T) {
	t.Parallel() // it waits more than it works
	want := undisturbed(t)
	for name, ks := range map[string][]samplelog.Key{"without a key": nil, "with a key": {samplelog.NewKey([]byte("a key of a log that only a test knows"))}} {
		t.Run(name, func(t *testing.T) {
			broker := peers.Mosquitto(t)
			s := logServer(t, t.TempDir(), peers.Port(t))
			defer func() { s.Shutdown(); s.WaitForShutdown() }()
			o := plant(t, broker.Addr)
			o.LogURL, o.LogKeys = s.ClientURL(), ks
			a, stop := running(t, o)
			played := playing(t, broker.Addr, begun, time.Millisecond)
			before := a.batch.Figures().Entries
			waitFor(t, "entries", func() bool { return a.batch.Figures().Entries > before+50 })
			garbage(t, s.ClientURL())
			played()
			settle(t, a)
			if err := a.Ready(); err != nil {
				t.Errorf("not ready: %v", err)
			}
			if n := a.Pipeline().LogUnreadable; n != station.Partitions {
				t.Errorf("%d unreadable entries are counted", n)
			}
			said := ""
			for _, p := range a.Health().List() {
				if p.Part == "evidence-unreadable" && p.Level == health.Doubtful {
					said = p.Reason
				}
			}
			if t.Log(said); !strings.Contains(said, "16 entries") {
				t.Errorf("health says %q", said)
			}
			stop()
			a, stop = running(t, o)
			settle(t, a)
			stop()
			same(t, want, concluded(t, o))
			files, err := filepath.Glob(filepath.Join(o.Data, "unreadable", "*.json"))
			if err != nil || len(files) != station.Partitions {
				t.Fatal(files, err)
			}
			b, err := os.ReadFile(files[0])
			if err != nil {
				t.Fatal(err)
			}
			var f unreadableFile
			if err := json.Unmarshal(b, &f); err != nil || f.Position == 0 || f.Begins != `"rubbish"` || f.Why == "" || f.Content != "cnViYmlzaA==" {
				t.Errorf("%+v, %v", f, err)
			}
		})
	}
}

// What is kept is bounded in number and size, and for its owner only.
func TestUnreadableEntriesAreKeptWithinBounds(t *testing.T) {
	u := newUnreadable(filepath.Join(t.TempDir(), "unreadable"), nil, slog.New(slog.DiscardHandler))
	big := make([]byte, 1<<20)
	header := map[string][]string{strings.Repeat("n", 1000): {strings.Repeat("v", 100000)}}
	const more = 20
	for n := range unreadableMost + more {
		u.keep(samplelog.Unreadable{Position: uint64(n + 1), Header: header, Data: big, Why: "none of ours"})
	}
	files, err := os.ReadDir(u.dir)
	if err != nil || len(files) != unreadableMost {
		t.Fatalf("%d files: %v", len(files), err)
	}
	if want := fmt.Sprintf("%020d-0.json", more+1); files[0].Name() != want {
		t.Errorf("the oldest is %s, want %s", files[0].Name(), want)
	}
	info, err := files[0].Info()
	if err != nil || info.Mode().Perm() != 0o600 || info.Size() > 2*unreadableBytes {
		t.Errorf("%s, %d bytes: %v", info.Mode(), info.Size(), err)
	}
}
