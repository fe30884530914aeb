package prometheus

import (
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"strokewise/deploy/peers"
)

var (
	rulesFile  = filepath.Join("..", "..", "deploy", "prometheus.rules.yaml")
	rulesTests = filepath.Join("..", "..", "deploy", "prometheus.rules.test.yaml")
)

// Prometheus takes the rules that we ship, every metric that they name exists, and each has
// a runbook line.
func TestRulesThatWeShip(t *testing.T) {
	text, golden := read(t, rulesFile), read(t, filepath.Join("testdata", "metrics.txt"))
	for _, name := range regexp.MustCompile(`strokewise_[a-z_]+`).FindAllString(text, -1) {
		if !strings.Contains(golden, "# TYPE "+name+" ") {
			t.Errorf("there is no metric %s", name)
		}
	}
	if a, r := strings.Count(text, "- alert:"), strings.Count(text, "runbook:"); a == 0 || a != r {
		t.Errorf("%d alerts, %d runbook lines", a, r)
	}
	if out, err := exec.Command(peers.Find(t, "promtool"), "check", "rules", rulesFile).CombinedOutput(); err != nil {
		t.Errorf("%v\n%s", err, out)
	}
}

// The rules speak when they should, and not before: promtool's own rule tests, beside the rules.
func TestRulesSpeak(t *testing.T) {
	if out, err := exec.Command(peers.Find(t, "promtool"), "test", "rules", rulesTests).CombinedOutput(); err != nil {
		t.Errorf("%v\n%s", err, out)
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
