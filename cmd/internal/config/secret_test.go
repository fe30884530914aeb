package config

import (
	"bytes"
	"encoding/json"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"go.yaml.in/yaml/v3"
)

func TestSecretIsPrintedByNothing(t *testing.T) {
	const text = "hunter2"
	s := NewSecret(text)
	type hidden struct{ s Secret } // a field that fmt may not call methods on
	values := map[string]any{"itself": s, "pointer": &s, "struct": struct{ S Secret }{s}, "unexported": hidden{s},
		"map": map[string]Secret{"a": s}, "slice": []Secret{s}, "config": Config{Notify: Notify{Webhooks: []Webhook{{URL: s}}}}}
	for name, v := range values {
		for _, verb := range []string{"%v", "%+v", "%#v", "%s", "%q", "%x", "%X", "%d", "%T"} {
			check(t, name+" "+verb, text, fmt.Sprintf(verb, v))
		}
		var b bytes.Buffer
		slog.New(slog.NewTextHandler(&b, nil)).Info("x", "v", v)
		slog.New(slog.NewJSONHandler(&b, nil)).Info("x", "v", v)
		j, err := json.Marshal(v)
		if err != nil {
			t.Error(err)
		}
		check(t, name+" in logs and JSON", text, b.String()+string(j))
	}
	y, err := yaml.Marshal(map[string]any{"s": s})
	if err != nil {
		t.Error(err)
	}
	check(t, "YAML", text, string(y))
	if s.Reveal() != text || s.IsZero() || s.String() != "(redacted)" || !(Secret{}).IsZero() || (Secret{}).String() != "" {
		t.Error("a secret does not keep its text")
	}
}

func check(t *testing.T, how, secret, out string) {
	t.Helper()
	hex := fmt.Sprintf("%x", secret)
	if strings.Contains(out, secret) || strings.Contains(strings.ToLower(out), hex) {
		t.Errorf("%s: %s", how, out)
	}
}

// What a file says in secret places is in no message, right or wrong.
func TestMessagesHoldNoSecret(t *testing.T) {
	const secret = "t0ps3cret"
	for _, text := range []string{
		"mqtt: {password: t0ps3cret}",
		"mqtt: {broker: \"tcp://me:t0ps3cret@h:1/x\"}",
		"mqtt: {broker: \"ws://me:t0ps3cret@h\"}",
		"log: {url: \"nats://t0ps3cret@h\"}",
		"notify: {webhook: {url: \"ftp://h/t0ps3cret\"}}",
		"notify: {webhook: {url: \"https://h:t0ps3cret/\"}}",
		"notify: {webhook: {url: \"https://h/%zzt0ps3cret\"}}",
		"notify: {webhook: {url: [t0ps3cret]}}",
		"notify: {webhook: {url: \"https://h/\", header: t0ps3cret}}",
	} {
		_, err := Parse([]byte("stations: [{id: a}]\n"+text), "x.yaml", Options{NoBroker: true})
		if err == nil {
			t.Errorf("%s is taken", text)
			continue
		}
		check(t, text, secret, err.Error())
	}
	c, err := Parse([]byte("stations: [{id: a}]\nnotify: {webhook: {url: \"https://h/t0ps3cret\"}}"), "x.yaml", Options{NoBroker: true})
	if err != nil || c.Notify.Webhooks[0].URL.Reveal() != "https://h/t0ps3cret" {
		t.Fatalf("%v", err)
	}
	check(t, "the configuration", secret, fmt.Sprintf("%+v %#v", c, c))
}

func TestReadSecret(t *testing.T) {
	write := func(text string) string {
		path := filepath.Join(t.TempDir(), "secret")
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	for text, want := range map[string]string{"abc": "abc", "abc\n": "abc", "abc\r\n": "abc", " a b ": " a b "} {
		if s, err := ReadSecret(write(text)); err != nil || s.Reveal() != want {
			t.Errorf("%q gives %q, %v", text, s.Reveal(), err)
		}
	}
	for name, path := range map[string]string{"empty": write("\n"), "large": write(strings.Repeat("x", maxSecret+1)), "missing": "no-such-file"} {
		if _, err := ReadSecret(path); err == nil || !strings.HasPrefix(err.Error(), "cannot read secret") || len(err.Error()) > 300 {
			t.Errorf("%s: %v", name, err)
		}
	}
}
