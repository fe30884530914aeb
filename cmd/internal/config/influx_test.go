package config

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"
)

func TestInfluxKeysArrive(t *testing.T) {
	secret := filepath.Join("testdata", "secret.txt")
	want := Influx{URL: "https://tsdb.example:8086/base", Org: "plant", Bucket: "boost/week", TokenFile: secret, CAFile: secret, Keep: 72 * time.Hour}
	if c := load(t, "testdata/full.yaml", live); c.Influx != want || slices.ContainsFunc(c.Warnings, func(w *Error) bool { return w.Key == "influx.url" }) {
		t.Errorf("%+v, warnings %v", c.Influx, c.Warnings)
	}
	if c := load(t, "testdata/design.yaml", live); c.Influx.URL != "" || c.Influx.Keep != 7*24*time.Hour {
		t.Errorf("without the key: %+v", c.Influx)
	}
}

// The block of the example works once its # are taken away.
func TestInfluxOfTheExampleFile(t *testing.T) {
	data, err := os.ReadFile("../../../deploy/strokewise.example.yaml")
	if err != nil {
		t.Fatal(err)
	}
	_, block, found := strings.Cut(string(data), "# influx:\n")
	if !found {
		t.Fatal("no block")
	}
	block, _, _ = strings.Cut(block, "\n\n")
	text := "stations: [{id: a}]\ninflux:\n" + strings.ReplaceAll("\n"+block, "\n#", "\n")
	text = strings.ReplaceAll(text, "http://127.0.0.1", "https://127.0.0.1") // as its ca_file wants
	c, err := Parse([]byte(text), "x.yaml", Options{NoBroker: true})         // the files do not exist here
	if err != nil {
		t.Fatal(err)
	}
	if c.Influx.Bucket == "" || c.Influx.TokenFile == "" || c.Influx.CAFile == "" || c.Influx.Org == "" || c.Influx.Keep == 0 {
		t.Errorf("%+v", c.Influx)
	}
}

// A token that would travel in clear to another machine is refused, unless somebody says so.
func TestATokenInClear(t *testing.T) {
	for url, odd := range map[string]bool{
		"http://127.0.0.1:8086": false, "http://[::1]:8086": false, "http://localhost:8086": false,
		"https://tsdb.example": false, "http://tsdb.example:8086": true, "http://10.0.0.7:8086": true,
	} {
		text := fmt.Sprintf("stations: [{id: a}]\ninflux: {url: %q, bucket: b, token_file: t}", url)
		c, err := Parse([]byte(text), "x.yaml", Options{NoBroker: true})
		if (err != nil) != odd || err != nil && !strings.Contains(err.Error(), "in clear") || err == nil && len(c.Warnings) > 0 {
			t.Errorf("%s: %v", url, err)
		}
		if _, err := Parse([]byte(strings.Replace(text, "bucket: b", "bucket: b, clear_text: passwords-in-clear", 1)), "x.yaml", Options{NoBroker: true}); err != nil {
			t.Errorf("%s, said in words: %v", url, err)
		}
	}
}

func TestInfluxMessagesHoldNoSecret(t *testing.T) {
	for _, text := range []string{
		"influx: {token: t0ps3cret}", "influx: {password: t0ps3cret}", "influx: {url: \"http://me:t0ps3cret@h\"}",
		"influx: {url: \"ftp://t0ps3cret\"}", "influx: {url: \"http://h/?token=t0ps3cret\", bucket: b}",
	} {
		_, err := Parse([]byte("stations: [{id: a}]\n"+text), "x.yaml", Options{NoBroker: true})
		if err == nil {
			t.Errorf("%s is taken", text)
			continue
		}
		check(t, text, "t0ps3cret", err.Error())
	}
}
