package prometheus

import (
	"compress/gzip"
	"encoding/json"
	"io"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"strokewise/deploy/peers"
)

// patience is how long something may take that must happen, on a machine however busy.
const patience = 5 * time.Minute

// question is a query of the document.
type question struct {
	kind string // "", "receivers" or "native"
	expr string
}

// questions returns the queries of the document.
func questions(t *testing.T) (out []question) {
	t.Helper()
	text := read(t, filepath.Join("..", "..", "deploy", "docs", "prometheus.md"))
	for _, m := range regexp.MustCompile("(?ms)^```promql *(\\w*)\n(.*?)^```").FindAllStringSubmatch(text, -1) {
		out = append(out, question{m[1], strings.TrimSpace(m[2])})
	}
	if len(out) < 30 {
		t.Fatalf("%d queries in the document", len(out))
	}
	return out
}

// demonstration serves what /metrics of `strokewise demo` held six and fifteen minutes after its start, with a leak that
// was caused at pack-2 and a shutdown at bench-1: the first one for some scrapes, then the second.
func demonstration(t *testing.T) string {
	t.Helper()
	texts := demo(t)
	var scrapes atomic.Int64
	srv := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Type", "text/plain; version=0.0.4")
		_, _ = w.Write(texts[min(1, scrapes.Add(1)/4)])
	}))
	t.Cleanup(srv.Close)
	return srv.Listener.Addr().String()
}

func demo(t *testing.T) (texts [2][]byte) {
	t.Helper()
	for i, name := range []string{"first.txt.gz", "second.txt.gz"} {
		f, err := os.Open(filepath.Join("testdata", "demo", name))
		if err != nil {
			t.Fatal(err)
		}
		defer f.Close()
		z, err := gzip.NewReader(f)
		if err != nil {
			t.Fatal(err)
		}
		if texts[i], err = io.ReadAll(z); err != nil {
			t.Fatal(err)
		}
	}
	return texts
}

// recording returns the recording rules, evaluated every second.
func recording(t *testing.T) string {
	t.Helper()
	text := regexp.MustCompile(`interval: \w+`).ReplaceAllString(read(t, filepath.Join("..", "..", "deploy", "prometheus.recording.rules.yaml")), "interval: 1s")
	path := filepath.Join(t.TempDir(), "rules.yaml")
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

// instant returns how many series a query returns now, and an error of the server.
func instant(t *testing.T, addr, expr string) (int, string) {
	t.Helper()
	res, err := http.PostForm("http://"+addr+"/api/v1/query", url.Values{"query": {expr}})
	if err != nil {
		t.Fatal(err)
	}
	defer res.Body.Close()
	var answer struct {
		Status, Error string
		Data          struct {
			Result []struct{ Value [2]any }
		}
	}
	if res.StatusCode == http.StatusServiceUnavailable { // it reads its database
		return 0, ""
	}
	if err := json.NewDecoder(res.Body).Decode(&answer); err != nil {
		t.Fatal(err)
	}
	n := 0
	for _, r := range answer.Data.Result {
		if r.Value[1] != "NaN" {
			n++
		}
	}
	return n, answer.Error
}

// answered waits until each query returns a number.
func answered(t *testing.T, addr string, exprs []string) {
	t.Helper()
	for until := time.Now().Add(patience); len(exprs) > 0 && time.Now().Before(until); time.Sleep(200 * time.Millisecond) {
		var left []string
		for _, e := range exprs {
			switch n, fault := instant(t, addr, e); {
			case fault != "":
				t.Fatalf("%s: %s", e, fault)
			case n == 0:
				left = append(left, e)
			}
		}
		exprs = left
	}
	for _, e := range exprs {
		t.Errorf("no data: %s", e)
	}
}

// Each query of the document returns data, of a real Prometheus that has scraped the demonstration, or a program with
// receivers.
func TestQueriesOfTheDocument(t *testing.T) {
	var plain, receivers, native []string
	for _, q := range questions(t) {
		switch q.kind {
		case "":
			plain = append(plain, q.expr)
		case "receivers":
			receivers = append(receivers, q.expr)
		case "native":
			native = append(native, q.expr)
		default:
			t.Errorf("%s: of what kind is %q", q.expr, q.kind)
		}
	}
	// the alerts of stations stand there too, with the labels of the metric and of the server
	stations, err := filepath.Abs(filepath.Join("..", "..", "deploy", "prometheus.stations.rules.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	plain = append(plain, `ALERTS{alertname="outlet-leak", alertstate="firing", priority="low", site="northdock", branch="clamping", station="clamp-3", job="strokewise"}`,
		`ALERTS{alertname="pressure-left", alertstate="firing", priority="high", station="bench-1"}`)
	answered(t, peers.Prometheus(t, demonstration(t), recording(t), stations).Addr, plain)
	if len(receivers) == 0 || len(native) == 0 {
		t.Fatal("no query of a kind")
	}
	busy := httptest.NewServer(working(t))
	defer busy.Close()
	answered(t, peers.Prometheus(t, busy.Listener.Addr().String()).Addr, receivers)
	answered(t, peers.PrometheusNative(t, busy.Listener.Addr().String()).Addr, native)
}

// panels returns the queries of the dashboards, by file, with what the reader picks filled in.
func panels(t *testing.T) map[string][]question {
	t.Helper()
	files, err := filepath.Glob(filepath.Join("..", "..", "deploy", "grafana", "*.json"))
	if err != nil || len(files) != 3 {
		t.Fatalf("%v, error %v", files, err)
	}
	picked := strings.NewReplacer("$__rate_interval", "1m", `site=~"$site"`, `site=~".+"`, `site="$site"`, `site=~".+"`,
		`station="$station"`, `station=~".+"`, `"$station|`, `".+|`)
	out := map[string][]question{}
	for _, f := range files {
		var board struct {
			Panels []struct {
				Targets []struct{ Expr string }
			}
		}
		if err := json.Unmarshal([]byte(read(t, f)), &board); err != nil {
			t.Fatal(err)
		}
		for _, p := range board.Panels {
			for _, x := range p.Targets {
				out[f] = append(out[f], question{"", picked.Replace(x.Expr)})
			}
		}
	}
	return out
}

// rare are metrics that a demonstration of some minutes does not have, with the reason.
var rare = map[string]string{
	"alarm_to_delivery": "nobody is notified", "outbox_pending": "nobody is notified",
	"meter_ratio": "no flow meter is lent", "cycles_since_overhaul": "no overhaul was recorded",
	"efficiency_change_ratio": "there is no usual value yet",
	"inlet_zero":              "nothing was vented on both sides", "outlet_zero": "nothing was vented on both sides",
	"internal_leak": "it takes hours of quiet", "volumetric_efficiency_ratio": "no quiet recharge was seen", "tank_volume": "no quiet recharge was seen",
}

// Each query of the dashboards returns data as well.
func TestQueriesOfTheDashboards(t *testing.T) {
	for name := range rare {
		if texts := demo(t); strings.Contains(string(texts[1]), name) {
			t.Errorf("the demonstration has %s: run its query there", name)
		}
	}
	var plain, others []string
	for _, list := range panels(t) {
		for _, q := range list {
			at := &plain
			for name := range rare {
				if strings.Contains(q.expr, name) {
					at = &others
				}
			}
			*at = append(*at, q.expr)
		}
	}
	answered(t, peers.Prometheus(t, demonstration(t), recording(t)).Addr, plain)
	busy := httptest.NewServer(working(t))
	defer busy.Close()
	answered(t, peers.Prometheus(t, busy.Listener.Addr().String()).Addr, others)
}

// working is a program in which something is timed at each scrape.
func working(t *testing.T) http.Handler {
	t.Helper()
	x := NewTimings()
	h, err := Handler(options(), nil, x.Collectors()...)
	if err != nil {
		t.Fatal(err)
	}
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		x.Committed(time.Second)
		x.Delivered("crew", time.Second)
		h.ServeHTTP(w, r)
	})
}

// The document names metrics that exist: the stored scrapes may be older than the program.
func TestNamesOfTheDocument(t *testing.T) {
	named(t, questions(t))
	for file, list := range panels(t) {
		if len(list) < 10 {
			t.Errorf("%s has %d queries", file, len(list))
		}
		named(t, list)
	}
}

func named(t *testing.T, list []question) {
	t.Helper()
	exist := map[string]bool{}
	for _, text := range []string{exposition(t, options()), timedText(t)} {
		for _, m := range regexp.MustCompile(`(?m)^(strokewise_\w+)[{ ]`).FindAllStringSubmatch(text, -1) {
			exist[m[1]] = true
		}
	}
	for _, rules := range shipped(t) {
		for _, r := range rules {
			exist[r.Record] = true
		}
	}
	for _, q := range list {
		for _, name := range regexp.MustCompile(`\b(\w+:)?strokewise_\w+(:\w+)?`).FindAllString(q.expr, -1) {
			if !exist[name] && !exist[name+"_bucket"] {
				t.Errorf("%s: there is no metric %s", q.expr, name)
			}
		}
	}
}

func timedText(t *testing.T) string {
	t.Helper()
	_, text := get(timed(t), "")
	return text
}
