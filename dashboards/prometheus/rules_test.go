package prometheus

import (
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"go.yaml.in/yaml/v3"

	"strokewise/deploy/peers"
)

var (
	rulesFile  = filepath.Join("..", "..", "deploy", "prometheus.rules.yaml")
	rulesTests = filepath.Join("..", "..", "deploy", "prometheus.rules.test.yaml")
)

// rule is a rule of Prometheus.
type rule struct {
	Alert, Record, Expr, For string
	Labels, Annotations      map[string]string
}

// shipped returns the rules of all files that we ship, by file.
func shipped(t *testing.T) map[string][]rule {
	t.Helper()
	files, err := filepath.Glob(filepath.Join("..", "..", "deploy", "prometheus*rules.yaml"))
	if err != nil || len(files) != 3 {
		t.Fatalf("%v, error %v", files, err)
	}
	out := map[string][]rule{}
	for _, f := range files {
		var text struct {
			Groups []struct {
				Name, Interval string
				Rules          []rule
			}
		}
		d := yaml.NewDecoder(strings.NewReader(read(t, f)))
		d.KnownFields(true)
		if err := d.Decode(&text); err != nil {
			t.Fatalf("%s: %v", f, err)
		}
		for _, g := range text.Groups {
			out[f] = append(out[f], g.Rules...)
		}
	}
	return out
}

// The rules that we ship are valid for Prometheus; every metric that they name exists, be it one of ours or a recorded one, and
// each alert says what it is about, what to do and where more stands.
func TestRulesThatWeShip(t *testing.T) {
	exist := map[string]bool{}
	for _, m := range regexp.MustCompile(`(?m)^# TYPE (\w+) `).FindAllStringSubmatch(read(t, filepath.Join("testdata", "metrics.txt")), -1) {
		exist[m[1]] = true
	}
	all := shipped(t)
	for _, rules := range all {
		for _, r := range rules {
			exist[r.Record] = true
		}
	}
	for file, rules := range all {
		for _, r := range rules {
			for _, name := range regexp.MustCompile(`\b(\w+:)?strokewise_\w+(:\w+)?`).FindAllString(r.Expr, -1) {
				if !exist[name] {
					t.Errorf("%s: %s%s: there is no metric %s", file, r.Alert, r.Record, name)
				}
			}
			if r.Alert == "" {
				continue
			}
			for _, name := range []string{"summary", "description", "runbook_url"} {
				if r.Annotations[name] == "" {
					t.Errorf("%s: %s has no %s", file, r.Alert, name)
				}
			}
			if _, ok := r.Labels["severity"]; ok || len(r.Annotations) != 3 {
				t.Errorf("%s: %s has other labels or annotations than all others", file, r.Alert)
			}
		}
		if out, err := exec.Command(peers.Find(t, "promtool"), "check", "rules", file).CombinedOutput(); err != nil {
			t.Errorf("%v\n%s", err, out)
		}
	}
}

// The rules speak when they should, and not before: promtool's own rule tests, beside the rules.
func TestRulesSpeak(t *testing.T) {
	for file := range shipped(t) {
		tests := strings.Replace(file, "rules.yaml", "rules.test.yaml", 1)
		if out, err := exec.Command(peers.Find(t, "promtool"), "test", "rules", tests).CombinedOutput(); err != nil {
			t.Errorf("%v\n%s", err, out)
		}
	}
}

// Each recording rule, and each alert of stations, is in a test.
func TestEachRecordAndStationAlertIsTested(t *testing.T) {
	for file, rules := range shipped(t) {
		if file == rulesFile {
			continue // TestEachRuleIsTested asks for more
		}
		tests := read(t, strings.Replace(file, "rules.yaml", "rules.test.yaml", 1))
		for _, r := range rules {
			if r.Alert != "" && strings.Count(tests, `{alertname="`+r.Alert+`"`) < 2 {
				t.Errorf("%s is not tested", r.Alert)
			}
			if r.Record != "" && !strings.Contains(r.Record, "alarm_active:held") && !strings.Contains(tests, r.Record) {
				t.Errorf("%s is not tested", r.Record)
			}
		}
	}
}

// Each rule has a test in which it fires and one in which it does not, and every metric that a rule
// names is there on the ordinary day, on which none fires.
func TestEachRuleIsTested(t *testing.T) {
	rules, tests := read(t, rulesFile), read(t, rulesTests)
	_, day, ok := strings.Cut(tests, "name: 'an ordinary day'")
	if !ok {
		t.Fatal("there is no ordinary day")
	}
	for _, m := range regexp.MustCompile(`- alert: (\w+)`).FindAllStringSubmatch(rules, -1) {
		checks := regexp.MustCompile(`alertname="`+m[1]+`", alertstate="firing"\}\)', exp_samples: \[(.?)`).FindAllStringSubmatch(tests, -1)
		var fires, quiet int
		for _, c := range checks {
			if c[1] == "{" {
				fires++
			} else {
				quiet++
			}
		}
		if fires == 0 || quiet == 0 {
			t.Errorf("%s: %d tests in which it fires, %d in which it does not", m[1], fires, quiet)
		}
	}
	for _, name := range regexp.MustCompile(`\bstrokewise_[a-z_]+`).FindAllString(rules, -1) {
		if !strings.Contains(day, name+"{") {
			t.Errorf("%s is missing on the ordinary day", name)
		}
	}
}

func read(t *testing.T, path string) string {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}
