package prometheus

import (
	"net/http"
	"strconv"
	"time"

	prom "github.com/prometheus/client_golang/prometheus"

	"strokewise/dashboards/statuscode"
)

// Timings are histograms of how long things take: native ones for servers that ask for them, with fixed buckets beside
// for all others. A nil *Timings measures nothing.
type Timings struct {
	commit   prom.Histogram
	delivery *prom.HistogramVec
	http     *prom.HistogramVec
}

// Buckets of servers without native histograms, s. A commit follows a sample within some seconds; a delivery within
// seconds, or in a digest within a day; a page within milliseconds.
var (
	commitBuckets   = []float64{0.1, 0.25, 0.5, 1, 2.5, 5, 10, 30, 60, 300, 3600}
	deliveryBuckets = []float64{0.5, 1, 2.5, 5, 10, 30, 60, 300, 1800, 7200, 28800, 86400}
	httpBuckets     = []float64{0.001, 0.005, 0.01, 0.05, 0.1, 0.5, 1, 5, 30}
)

// NewTimings returns timings that have measured nothing.
func NewTimings() *Timings {
	return &Timings{
		commit:   prom.NewHistogram(times(commitName, commitBuckets)),
		delivery: prom.NewHistogramVec(times(deliveryName, deliveryBuckets), []string{"receiver"}),
		http:     prom.NewHistogramVec(times(httpName, httpBuckets), []string{"code"}),
	}
}

// growth is the most by which a bucket of a native histogram is wider than the one before: quantiles are right within
// 5 % (half of it). mostBuckets bounds its size; beyond that its resolution halves.
const (
	growth      = 1.1
	mostBuckets = 100
)

// Names of the timings.
const (
	commitName   = "strokewise_sample_to_commit_seconds"
	deliveryName = "strokewise_alarm_to_delivery_seconds"
	httpName     = "strokewise_http_request_duration_seconds"
)

// timingHelp is what is said of each.
var timingHelp = map[string]string{
	commitName:   "Time from the arrival of samples until what was concluded of them is stored, by entry of the sample log.",
	deliveryName: "Time from an alarm's change until a receiver took the notification; digests and maintenance make it long.",
	httpName:     "Time that requests for pages and metrics took, by status; streams of events are left out.",
}

func times(name string, buckets []float64) prom.HistogramOpts {
	return prom.HistogramOpts{Name: name, Help: timingHelp[name], Buckets: buckets,
		NativeHistogramBucketFactor: growth, NativeHistogramMaxBucketNumber: mostBuckets, NativeHistogramMinResetDuration: time.Hour}
}

// Collectors returns what shows the timings, for Handler.
func (t *Timings) Collectors() []prom.Collector {
	if t == nil {
		return nil
	}
	return []prom.Collector{t.commit, t.delivery, t.http}
}

// Committed adds the time from arrival to commit of an entry.
func (t *Timings) Committed(took time.Duration) {
	if t != nil {
		t.commit.Observe(max(0, took).Seconds())
	}
}

// Delivered adds the time from an alarm's change to its delivery.
func (t *Timings) Delivered(receiver string, took time.Duration) {
	if t != nil {
		t.delivery.WithLabelValues(label(receiver)).Observe(max(0, took).Seconds())
	}
}

// Measure returns a handler that measures another one. What has no end of its own, a stream of events, is left out.
func (t *Timings) Measure(next http.Handler) http.Handler {
	if t == nil {
		return next
	}
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		began := time.Now()
		s := statuscode.Keep(w)
		next.ServeHTTP(s, r)
		if s.Header().Get("Content-Type") != "text/event-stream" {
			t.http.WithLabelValues(strconv.Itoa(s.Status)).Observe(time.Since(began).Seconds())
		}
	})
}
