package prometheus

import (
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	dto "github.com/prometheus/client_model/go"
	"github.com/prometheus/common/expfmt"
)

// timed returns a handler whose timings have measured a little.
func timed(t *testing.T) http.Handler {
	t.Helper()
	x := NewTimings()
	for range 99 {
		x.Committed(300 * time.Millisecond)
	}
	x.Committed(-time.Second) // our clock was set back
	x.Delivered("crew", 2*time.Second)
	w := httptest.NewRecorder()
	x.Measure(http.NotFoundHandler()).ServeHTTP(w, httptest.NewRequest(http.MethodGet, "/nothing", nil))
	x.Measure(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Type", "text/event-stream")
		_ = http.NewResponseController(w).Flush()
	})).ServeHTTP(w, httptest.NewRequest(http.MethodGet, "/events", nil))
	h, err := Handler(options(), nil, x.Collectors()...)
	if err != nil {
		t.Fatal(err)
	}
	return h
}

// get scrapes with an Accept header, and returns the type of the answer with the answer.
func get(h http.Handler, accept string) (string, string) {
	w := httptest.NewRecorder()
	r := httptest.NewRequest(http.MethodGet, "/metrics", nil)
	r.Header.Set("Accept", accept)
	h.ServeHTTP(w, r)
	return w.Header().Get("Content-Type"), w.Body.String()
}

// A server that asks for protobuf gets native histograms, with fixed buckets beside them. Source: 0.3 s lies in the
// native bucket (2^(-14/8), 2^(-13/8)] of schema 3, the coarsest of those that grow by 1.1 at most (2^(1/8) = 1.0905); its
// index is the exponent's numerator, -13.
func TestNativeHistograms(t *testing.T) {
	kind, body := get(timed(t), `application/vnd.google.protobuf;proto=io.prometheus.client.MetricFamily;encoding=delimited`)
	if !strings.HasPrefix(kind, "application/vnd.google.protobuf") {
		t.Fatal(kind)
	}
	found := map[string]*dto.Histogram{}
	d := expfmt.NewDecoder(strings.NewReader(body), expfmt.NewFormat(expfmt.TypeProtoDelim))
	for {
		var f dto.MetricFamily
		if err := d.Decode(&f); err == io.EOF {
			break
		} else if err != nil {
			t.Fatal(err)
		}
		if f.GetType() == dto.MetricType_HISTOGRAM {
			found[f.GetName()] = f.Metric[0].Histogram
			if len(f.Metric) != 1 {
				t.Errorf("%s has %d series", f.GetName(), len(f.Metric))
			}
		}
	}
	for name, n := range map[string]uint64{"strokewise_sample_to_commit_seconds": 100, "strokewise_alarm_to_delivery_seconds": 1, "strokewise_http_request_duration_seconds": 1} {
		if h := found[name]; h == nil || h.GetSampleCount() != n || h.GetSchema() != 3 || len(h.Bucket) == 0 {
			t.Errorf("%s: %v", name, h)
		}
	}
	h := found["strokewise_sample_to_commit_seconds"]
	if s := h.PositiveSpan; len(s) != 1 || s[0].GetOffset() != -13 || h.GetZeroCount() != 1 {
		t.Errorf("0.3 s lie elsewhere: %v", h)
	}
}

// A server that asks for OpenMetrics gets it, and others Prometheus's own text.
func TestFormatsAreNegotiated(t *testing.T) {
	h := timed(t)
	kind, body := get(h, `application/openmetrics-text;version=1.0.0,application/openmetrics-text;version=0.0.1;q=0.75,text/plain;version=0.0.4;q=0.5,*/*;q=0.1`)
	if !strings.HasPrefix(kind, "application/openmetrics-text") || !strings.HasSuffix(body, "# EOF\n") {
		t.Errorf("%s ending in %q", kind, body[max(0, len(body)-20):])
	}
	if !strings.Contains(body, "# TYPE strokewise_strokes counter\n") || !strings.Contains(body, `strokewise_http_request_duration_seconds_count{code="404"} 1`) {
		t.Error("no strokes, or no request that found nothing")
	}
	kind, body = get(h, "")
	if !strings.HasPrefix(kind, "text/plain") || !strings.Contains(body, "# TYPE strokewise_strokes_total counter\n") {
		t.Error(kind)
	}
}
