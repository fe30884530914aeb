package config

import (
	"fmt"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"time"

	"strokewise/dashboards/access"
)

const httpRest = `
mqtt: { broker: "tcp://127.0.0.1:1883", topics: [{ match: "boost/{site}/{station}/{channel}" }] }
sites: [{ id: northdock }]
stations: [{ id: press-4 }]
`

// users writes a users file with one user.
func users(t *testing.T) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "users.yaml")
	if err := access.Write(path, &access.List{Version: 1, Users: []access.User{{Name: "ana", Role: access.Viewer}}}); err != nil {
		t.Fatal(err)
	}
	return path
}

func TestEveryKeyOfLoginsArrives(t *testing.T) {
	path := users(t)
	text := fmt.Sprintf(`version: 1
http:
  listen: 0.0.0.0:8420
  users_file: %[1]s
  confirm: second-person
  session: { idle: 30 min, longest: 8 h }
  behind_proxy: { trusted: [10.0.0.5, 10.1.0.0/16, "::ffff:10.2.0.1"], identity_header: X-Remote-User }
  metrics: { listen: 127.0.0.1:9420, web_config_file: %[1]s }
  profiles: /run/strokewise/profiles.sock
  oidc: { issuer: "https://login.example", client_id: sw, client_secret_file: %[1]s, pages: "https://monitor.example", ca_file: %[1]s, name_claim: email, groups_claim: teams, acr: phr, scopes: [openid, roles], roles: { mechanics: operator, office: viewer } }
  audit: { syslog: "tls://log.example:6514", webhook: "https://log.example/x?key=y", header_file: %[1]s, ca_file: %[1]s, sign_key_file: %[1]s }
`, path) + httpRest
	c, err := Parse([]byte(text), "plant.yaml", live)
	if err != nil {
		t.Fatal(err)
	}
	want := HTTP{Listen: "0.0.0.0:8420", UsersFile: path, Confirm: 1, Idle: 30 * time.Minute, Longest: 8 * time.Hour,
		Proxy: c.HTTP.Proxy, Metrics: MetricsListener{"127.0.0.1:9420", path}, Profiles: "/run/strokewise/profiles.sock",
		OIDC: OIDC{Issuer: "https://login.example", ClientID: "sw", SecretFile: path, Pages: "https://monitor.example", NameClaim: "email", GroupsClaim: "teams", Scopes: []string{"roles"},
			Roles: map[string]string{"mechanics": "operator", "office": "viewer"}, CAFile: path, SecondFactor: "phr"},
		Audit: Audit{"tls://log.example:6514", NewSecret("https://log.example/x?key=y"), path, path, path}}
	if !reflect.DeepEqual(c.HTTP, want) {
		t.Errorf("%+v", c.HTTP)
	}
	if got := fmt.Sprint(c.HTTP.Proxy); got != "{[10.0.0.5/32 10.1.0.0/16 10.2.0.1/32] X-Remote-User}" {
		t.Error(got)
	}
}

// Beyond loopback there is a login, and nothing travels in clear unless that is said in words.
func TestDoorsHaveLocks(t *testing.T) {
	path := users(t)
	for http, says := range map[string]string{
		"listen: 127.0.0.1:8420":                                                                         "",
		`listen: "[::1]:8420"`:                                                                           "",
		"listen: 10.0.0.7:8420":                                                                          "nobody has to log in",
		"listen: 10.0.0.7:8420, users_file: " + path:                                                     "travel in clear",
		"listen: 127.0.0.1:8420, users_file: " + path:                                                    "",
		"listen: 10.0.0.7:8420, plain_http: passwords-in-clear":                                          "nobody has to log in",
		"listen: 10.0.0.7:8420, behind_proxy: { trusted: [10.0.0.5] }":                                   "nobody has to log in",
		"listen: 10.0.0.7:8420, plain_http: passwords-in-clear, users_file: " + path:                     "",
		"listen: 10.0.0.7:8420, behind_proxy: { trusted: [10.0.0.5] }, users_file: " + path:              "",
		"listen: 127.0.0.1:8420, behind_proxy: { trusted: [127.0.0.1], identity_header: X-Remote-User }": "no users file",
		`audit: { syslog: "tcp://10.0.0.7:601" }`:                                                        "in clear",
		`audit: { syslog: "tcp://127.0.0.1:601" }`:                                                       "",
		`audit: { syslog: "tls://log.example" }`:                                                         "no address with a port",
		`audit: { webhook: "http://log.example/" }`:                                                      "in clear",
		`audit: { webhook: "https://log.example/" }`:                                                     "",
		`audit: {}`: "syslog",
		`audit: { syslog: "tls://h:1", header_file: missing }`:        "header_file",
		`audit: { syslog: "tls://h:1", sign_key_file: ` + path + ` }`: "is for a webhook",
		`oidc: { scopes: ["a b"] }`:                                   "no scope",
	} {
		_, err := Parse([]byte("version: 1\nhttp: { "+http+" }"+httpRest), "plant.yaml", live)
		if says == "" && err != nil || says != "" && (err == nil || !strings.Contains(err.Error(), says)) {
			t.Errorf("%s: %v, want %q", http, err, says)
		}
	}
	if err := os.Chmod(path, 0o644); err != nil {
		t.Fatal(err)
	}
	if _, err := Parse([]byte("version: 1\nhttp: { users_file: "+path+" }"+httpRest), "plant.yaml", live); err == nil || !strings.Contains(err.Error(), "chmod 600") {
		t.Errorf("a users file that others can read: %v", err)
	}
}
