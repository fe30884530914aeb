package peers

import (
	"fmt"
	"io"
	"net"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// built gives the folder of programs that install.sh builds, since Debian has none.
func built() string {
	dir, err := os.UserCacheDir()
	if err != nil {
		return ""
	}
	return filepath.Join(dir, "strokewise", "bin")
}

// influxConf is for a server that stays on loopback and reports to nobody.
const influxConf = `reporting-disabled = true
bind-address = %q
[meta]
dir = "meta"
[data]
dir = "data"
wal-dir = "wal"
[monitor]
store-enabled = false
[http]
bind-address = %q
flux-enabled = true
log-enabled = false
[logging]
level = "error"
`

// Influx starts an InfluxDB 1.8 with databases of the given names; each is the bucket
// name/autogen of the v2 API.
func Influx(t testing.TB, databases ...string) *Process {
	t.Helper()
	bin := Find(t, "influxd")
	dir, addr := t.TempDir(), fmt.Sprintf("127.0.0.1:%d", Port(t))
	path := filepath.Join(dir, "influxdb.conf")
	conf := fmt.Sprintf(influxConf, fmt.Sprintf("127.0.0.1:%d", Port(t)), addr)
	if err := os.WriteFile(path, []byte(conf), 0o600); err != nil {
		t.Fatal(err)
	}
	p := Start(t, addr, dir, bin, "run", "-config", path)
	for _, name := range databases {
		p.Post(t, "/query", url.Values{"q": {`CREATE DATABASE "` + name + `"`}}.Encode(), "application/x-www-form-urlencoded")
	}
	return p
}

// Victoria starts a VictoriaMetrics that keeps everything.
func Victoria(t testing.TB) *Process {
	t.Helper()
	bin := Find(t, "victoria-metrics")
	dir, addr := t.TempDir(), fmt.Sprintf("127.0.0.1:%d", Port(t))
	return Start(t, addr, dir, bin, "-httpListenAddr="+addr, "-storageDataPath="+filepath.Join(dir, "data"), "-retentionPeriod=100y", "-loggerLevel=ERROR")
}

// Post sends a request to the program and gives its answer, which must be a good one. It
// waits while the program is not ready.
func (p *Process) Post(t testing.TB, path, body, contentType string) string {
	t.Helper()
	var last string
	for until := time.Now().Add(patience); time.Now().Before(until); time.Sleep(50 * time.Millisecond) {
		req, err := http.NewRequest(http.MethodPost, "http://"+p.Addr+path, strings.NewReader(body))
		if err != nil {
			t.Fatal(err)
		}
		req.Header.Set("Content-Type", contentType)
		req.Close = true
		res, err := http.DefaultClient.Do(req)
		if err != nil {
			if _, ok := err.(*url.Error).Err.(net.Error); !ok {
				t.Fatal(err)
			}
			last = err.Error()
			continue
		}
		said, err := io.ReadAll(res.Body)
		res.Body.Close()
		if last = res.Status + " " + string(said); err == nil && res.StatusCode/100 == 2 {
			return string(said)
		}
	}
	t.Fatalf("%s%s answers %s", p.Addr, path, last)
	return ""
}
