// Package peers starts the real programs that tests run against, on free loopback ports
// with their data in temporary folders, and stops them at the test's end.
package peers

import (
	"bytes"
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"
)

// RequireEnv is the environment variable that turns a missing peer from a skipped test
// into a failed one.
const RequireEnv = "STROKEWISE_REQUIRE_PEERS"

// DatasetsEnv is the environment variable that names the folder of the open datasets, see Folder.
const DatasetsEnv = "STROKEWISE_DATASETS"

// packages name the Debian package of each program.
var packages = map[string]string{
	"mosquitto": "mosquitto", "mosquitto_passwd": "mosquitto", "mosquitto_pub": "mosquitto-clients",
	"prometheus": "prometheus", "promtool": "prometheus", "chromium": "chromium",
	"victoria-metrics": "victoria-metrics", "nginx": "nginx-light", "prometheus-alertmanager": "prometheus-alertmanager", "amtool": "prometheus-alertmanager",
}

// missing skips the test, or fails it where peers are required.
func missing(t testing.TB, format string, args ...any) {
	t.Helper()
	if os.Getenv(RequireEnv) == "1" {
		t.Fatalf(format, args...)
	}
	t.Skipf(format, args...)
}

// Find gives the path of a program.
func Find(t testing.TB, name string) string {
	t.Helper()
	for _, dir := range append(filepath.SplitList(os.Getenv("PATH")), "/usr/sbin", "/usr/local/sbin", built()) {
		path := filepath.Join(dir, name)
		if i, err := os.Stat(path); err == nil && !i.IsDir() && i.Mode()&0o111 != 0 {
			return path
		}
	}
	how := "make peers"
	if p := packages[name]; p != "" {
		how = "apt-get install " + p
	}
	missing(t, "%s is not installed: %s", name, how)
	return ""
}

// Folder gives the folder that an environment variable names.
func Folder(t testing.TB, env string) string {
	t.Helper()
	dir := os.Getenv(env)
	if dir == "" {
		missing(t, "%s is not set: it names a folder of recordings", env)
	}
	return dir
}

// Port gives a loopback port that was free a moment ago.
func Port(t testing.TB) int {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	return l.Addr().(*net.TCPAddr).Port
}

// Process is a running program.
type Process struct {
	Addr string // host:port on which it listens
	Dir  string // its temporary folder

	t    testing.TB
	args []string
	mu   sync.Mutex
	cmd  *exec.Cmd
	out  bytes.Buffer
	done chan struct{}
}

// Start starts a program that listens on addr and waits until it takes connections.
func Start(t testing.TB, addr, dir string, args ...string) *Process {
	t.Helper()
	p := &Process{Addr: addr, Dir: dir, t: t, args: args}
	p.Restart()
	t.Cleanup(p.Kill)
	return p
}

// patience is how long a program may take on a machine busy with other work. One that cannot
// work ends by itself or answers with an error, mostly.
const patience = 5 * time.Minute

// Restart starts the program again after Kill.
func (p *Process) Restart() {
	p.t.Helper()
	p.mu.Lock()
	p.cmd = exec.Command(p.args[0], p.args[1:]...)
	p.cmd.Dir = p.Dir
	p.cmd.Stdout, p.cmd.Stderr = &p.out, &p.out
	p.done = make(chan struct{})
	err := p.cmd.Start()
	done, cmd := p.done, p.cmd
	p.mu.Unlock()
	if err != nil {
		p.t.Fatalf("cannot start %s: %v", p.args[0], err)
	}
	go func() { cmd.Wait(); close(done) }()
	for until := time.Now().Add(patience); time.Now().Before(until); time.Sleep(20 * time.Millisecond) {
		if c, err := net.DialTimeout("tcp", p.Addr, time.Second); err == nil {
			c.Close()
			return
		}
		select {
		case <-done:
			p.t.Fatalf("%s ended: %s", p.args[0], p.out.String())
		default:
		}
	}
	p.Kill()
	p.t.Fatalf("%s does not listen on %s: %s", p.args[0], p.Addr, p.out.String())
}

// Kill kills the program (SIGKILL) and waits for its end.
func (p *Process) Kill() {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.cmd == nil {
		return
	}
	p.cmd.Process.Kill()
	<-p.done
	p.cmd = nil
}

// Mosquitto starts an MQTT broker whose queues are large enough for the tests.
func Mosquitto(t testing.TB) *Process {
	t.Helper()
	return mosquitto(t)
}

// WebMosquitto starts one that listens for WebSockets.
func WebMosquitto(t testing.TB) *Process {
	t.Helper()
	return mosquitto(t, WebSockets(t)...)
}

// WebSockets are the lines that make a listener of Mosquitto one for WebSockets. It does not start without another beside it.
func WebSockets(t testing.TB) []string {
	t.Helper()
	return []string{"protocol websockets", fmt.Sprintf("listener %d 127.0.0.1", Port(t))}
}

// mosquitto starts a broker with more lines in its listener.
func mosquitto(t testing.TB, listener ...string) *Process {
	t.Helper()
	bin := Find(t, "mosquitto")
	dir, addr := t.TempDir(), fmt.Sprintf("127.0.0.1:%d", Port(t))
	_, port, _ := net.SplitHostPort(addr)
	conf := []string{
		"listener " + port + " 127.0.0.1", "allow_anonymous true",
		"max_queued_messages 1000000", "max_queued_bytes 0", "max_inflight_messages 500", "max_packet_size 268435455",
		"log_dest stderr", "log_type error",
	}
	conf = append([]string{conf[0]}, append(listener, conf[1:]...)...)
	if os.Getuid() == 0 {
		conf = append(conf, "user root")
	}
	path := filepath.Join(dir, "mosquitto.conf")
	if err := os.WriteFile(path, []byte(strings.Join(conf, "\n")+"\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	return Start(t, addr, dir, bin, "-c", path)
}

// Prometheus starts a Prometheus that scrapes target (host:port) as the job strokewise, and evaluates the files of rules,
// every second.
func Prometheus(t testing.TB, target string, rules ...string) *Process {
	t.Helper()
	return Scraping(t, fmt.Sprintf("static_configs: [{targets: ['%s']}]", target), rules...)
}

// Scraping is Prometheus for a job that says more than its targets: scheme, authority, token.
func Scraping(t testing.TB, job string, rules ...string) *Process {
	t.Helper()
	return scraping(t, job, nil, rules)
}

// PrometheusNative is Prometheus that takes native histograms.
func PrometheusNative(t testing.TB, target string) *Process {
	t.Helper()
	return scraping(t, fmt.Sprintf("static_configs: [{targets: ['%s']}]", target), []string{"--enable-feature=native-histograms"}, nil)
}

func scraping(t testing.TB, job string, flags, rules []string) *Process {
	t.Helper()
	bin := Find(t, "prometheus")
	dir, addr := t.TempDir(), fmt.Sprintf("127.0.0.1:%d", Port(t))
	conf := "global: {scrape_interval: 1s, scrape_timeout: 1s, evaluation_interval: 1s}\nscrape_configs:\n  - job_name: strokewise\n    " + strings.ReplaceAll(job, "\n", "\n    ") + "\n"
	if len(rules) > 0 {
		conf += "rule_files: ['" + strings.Join(rules, "', '") + "']\n"
	}
	path := filepath.Join(dir, "prometheus.yml")
	if err := os.WriteFile(path, []byte(conf), 0o600); err != nil {
		t.Fatal(err)
	}
	args := append([]string{bin, "--config.file=" + path, "--storage.tsdb.path=" + filepath.Join(dir, "data"), "--web.listen-address=" + addr, "--log.level=error"}, flags...)
	return Start(t, addr, dir, args...)
}
