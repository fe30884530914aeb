package config

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"unicode"

	"strokewise/deploy/hostile"
)

// A secret is in a file, in the environment, or what systemd has passed.
func TestWhereSecretsAre(t *testing.T) {
	dir := t.TempDir()
	t.Setenv("CREDENTIALS_DIRECTORY", dir)
	t.Setenv("SW_TEST_WORD", "from the environment\n")
	for name, text := range map[string]string{"mqtt.password": "from systemd\n", "file": "from a file\n"} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	for place, want := range map[string]string{
		"env:SW_TEST_WORD": "from the environment", "credential:mqtt.password": "from systemd", filepath.Join(dir, "file"): "from a file",
		"env:SW_TEST_NONE": "!no variable", "credential:other": "!cannot read", "credential:../file": "!no name of a credential", "credential:": "!no name of a credential", "credential:..": "!no name of a credential",
	} {
		c, err := Parse([]byte(fmt.Sprintf("version: 1\nsites: [{id: s}]\nstations: [{id: a}]\nmqtt: {broker: 'tcp://127.0.0.1', user: u, password_file: %q, topics: [{match: 'b/{station}/{channel}'}]}", place)), "x.yaml", live)
		if fault, bad := strings.CutPrefix(want, "!"); bad {
			if err == nil || !strings.Contains(err.Error(), fault) {
				t.Errorf("%s: %v", place, err)
			}
			continue
		}
		if err != nil || len(c.Warnings) != 0 {
			t.Errorf("%s: %v", place, err)
			continue
		}
		if s, err := ReadSecret(c.MQTT.PasswordFile); err != nil || s.Reveal() != want {
			t.Errorf("%s: %q, %v", place, s.Reveal(), err)
		}
	}
	// what libraries read is no variable
	_, err := Parse([]byte("stations: [{id: a}]\nmqtt: {tls: {key_file: 'env:SW_TEST_WORD', cert_file: x}}"), "x.yaml", Options{})
	if err == nil || !strings.Contains(err.Error(), "tls.key_file: cannot be in the environment") {
		t.Errorf("a key in the environment: %v", err)
	}
	t.Setenv("CREDENTIALS_DIRECTORY", "")
	if _, err := Parse([]byte("stations: [{id: a}]\nmqtt: {user: u, password_file: 'credential:x'}"), "x.yaml", Options{}); err == nil || !strings.Contains(err.Error(), "systemd has passed none") {
		t.Errorf("without systemd: %v", err)
	}
}

// Files that others may read or change are said to be odd, each by its key.
func TestPermissiveFilesAreOdd(t *testing.T) {
	dir := t.TempDir()
	in := func(name string, mode os.FileMode, text string) string {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		if err := os.Chmod(path, mode); err != nil {
			t.Fatal(err)
		}
		return path
	}
	for _, open := range []bool{false, true} {
		mode, folder := os.FileMode(0o640), os.FileMode(0o700)
		if open {
			mode, folder = 0o646, 0o755
		}
		secret := in("secret", mode, "a secret of more than thirty-two characters")
		data := filepath.Join(dir, "data"+mode.String())
		if err := os.Mkdir(data, folder); err != nil {
			t.Fatal(err)
		}
		config := in("c.yaml", mode, fmt.Sprintf(`version: 1
sites: [{ id: s }]
stations: [{ id: a }]
data: %[2]s
mqtt: { broker: 'ssl://127.0.0.1', user: u, password_file: %[1]s, tls: { cert_file: %[1]s, key_file: %[1]s }, topics: [{ match: 'b/{station}/{channel}' }] }
notify:
  webhook: { url: 'https://a.example/', header_file: %[1]s, sign_key_file: %[1]s }
  alertmanagers: [{ name: am, url: 'https://a.example/', header_file: %[1]s }]
  mail: [{ name: m, server: 'm.example:25', from: a@b.example, to: [c@d.example], user: u, password_file: %[1]s }]
influx: { url: 'https://t.example', bucket: b, token_file: %[1]s }
history: { backup_key_file: %[1]s }
`, secret, data))
		c, err := Load(config, live)
		if err != nil {
			t.Fatal(err)
		}
		var keys []string
		for _, w := range c.Warnings {
			keys = append(keys, w.Key)
		}
		want := ""
		if open {
			want = "history.backup_key_file mqtt.password_file mqtt.tls.key_file notify.webhook.header_file notify.webhook.sign_key_file notify.alertmanagers[0].header_file notify.mail[0].password_file influx.token_file  data"
		}
		if got := strings.Join(keys, " "); got != want {
			t.Errorf("mode %v: got  %q\nwant %q", mode, got, want)
		}
	}
}

// No name of a configuration breaks a line, hides something or leaves its level of a topic.
func TestHostileNames(t *testing.T) {
	hidden := func(s string) bool {
		return strings.ContainsFunc(s, func(r rune) bool { return unicode.In(r, unicode.Cc, unicode.Cf, unicode.Zl, unicode.Zp) })
	}
	for name, text := range hostile.Texts {
		quoted := fmt.Sprintf("%q", strings.ToValidUTF8(text, "\ufffd"))
		for key, form := range map[string]string{
			"station": "stations: [{id: %s}]", "site": "sites: [{id: %s}]\nstations: [{id: a}]", "branch": "stations: [{id: a, branch: %s}]",
			"client": "stations: [{id: a}]\nmqtt: {client_id: %s}", "user": "stations: [{id: a}]\nmqtt: {user: %s}",
			"panel": "stations: [{id: a}]\nnotify: {panels: [{name: l, topic_prefix: %s}]}", "receiver": "stations: [{id: a}]\nnotify: {webhook: {name: %s, url: 'https://a.example'}}",
			"header": "stations: [{id: a, header: %s}]",
		} {
			c, err := Parse([]byte(fmt.Sprintf(form, quoted)), "x.yaml", Options{NoBroker: true})
			if err != nil {
				if hidden(strings.ReplaceAll(err.Error(), "\n", "")) {
					t.Errorf("%s as %s: the fault is %q", name, key, err)
				}
				continue
			}
			p := c.Stations[0].Plate
			if hidden(p.Branch+c.MQTT.ClientID+c.MQTT.User+p.Header) || !isName(p.Key.Station) || !isName(p.Key.Site) {
				t.Errorf("%s as %s is taken", name, key)
			}
			for _, x := range c.Notify.Panels {
				if hidden(x.Prefix) || strings.ContainsAny(x.Prefix, "+#\x00") || strings.HasPrefix(x.Prefix, "$") {
					t.Errorf("%s as a panel's prefix is taken", name)
				}
			}
		}
	}
}
