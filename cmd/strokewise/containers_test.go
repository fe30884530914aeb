package main

import (
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"strokewise/deploy/peers"
)

const composeDir = "../../deploy/compose/"

// inFolder writes a text with the folders of a container exchanged for those of this test.
func inFolder(t *testing.T, text string, folders ...string) string {
	t.Helper()
	return write(t, "file.yaml", strings.NewReplacer(folders...).Replace(text))
}

func textIn(t *testing.T, path string) string {
	t.Helper()
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

// The configurations for containers pass check, with the secrets that the documentation has people make.
func TestConfigurationsForContainers(t *testing.T) {
	dir := t.TempDir()
	for _, name := range []string{"influx_token", "mqtt.password"} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte("something-long-enough\n"), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	if code, _, errOut := call("token", "add", "prometheus", "--only", "scrape", "--users", filepath.Join(dir, "users.yaml")); code != 0 {
		t.Fatal(errOut)
	}
	_, settings, _ := strings.Cut(textIn(t, "../../deploy/kubernetes/strokewise.yaml"), "strokewise.yaml: |\n")
	settings, _, _ = strings.Cut(settings, "\n---\n")
	for name, text := range map[string]string{
		"compose":    textIn(t, composeDir+"strokewise.yaml"),
		"kubernetes": strings.ReplaceAll("\n"+settings, "\n    ", "\n"),
	} {
		cfg := inFolder(t, text, "/var/lib/strokewise/users", dir, "/run/secrets", dir, "/etc/strokewise/secrets", dir)
		if code, out, errOut := call("check", "--config", cfg); code != 0 || !strings.Contains(out, "no fault found") {
			t.Errorf("%s: %s%s", name, out, errOut)
		}
	}
}

// The files for the programs beside strokewise are what those programs take.
func TestFilesOfTheComposeFile(t *testing.T) {
	rules, err := filepath.Abs("../../deploy/prometheus.rules.yaml")
	if err != nil {
		t.Fatal(err)
	}
	token := write(t, "scrape_token", "token")
	prometheus := inFolder(t, textIn(t, composeDir+"prometheus.yaml"), "/etc/prometheus/rules/*.yaml", rules, "/run/secrets/scrape_token", token)
	for _, args := range [][]string{{"promtool", "check", "config", prometheus}, {"amtool", "check-config", composeDir + "alertmanager.yaml"}} {
		if out, err := exec.Command(peers.Find(t, args[0]), args[1:]...).CombinedOutput(); err != nil {
			t.Errorf("%s: %v: %s", args[0], err, out)
		}
	}
	dir, addr := t.TempDir(), fmt.Sprintf("127.0.0.1:%d", peers.Port(t))
	_, port, _ := net.SplitHostPort(addr)
	user := ""
	if os.Getuid() == 0 {
		user = "user root\n"
	}
	conf := inFolder(t, user+textIn(t, composeDir+"mosquitto.conf"), "listener 1883", "listener "+port+" 127.0.0.1", "/mosquitto/data", dir)
	peers.Start(t, addr, dir, peers.Find(t, "mosquitto"), "-c", conf)
}
