package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"testing"
)

func TestLogsAsJSON(t *testing.T) {
	var b bytes.Buffer
	f := logFlags{LogFormat: "json", LogLevel: "warn"}
	log := f.logger(&b)
	log.Info("below the level")
	log.Warn("slow", "station", "press-4")
	f.ended(&b, log, errors.New("cannot go on"))
	d := json.NewDecoder(&b)
	for _, want := range []map[string]string{{"level": "WARN", "msg": "slow", "station": "press-4"}, {"level": "ERROR", "msg": "ended", "error": "cannot go on"}} {
		var got map[string]string
		if err := d.Decode(&got); err != nil {
			t.Fatal(err)
		}
		for k, v := range want {
			if got[k] != v {
				t.Errorf("%v, want %s = %s", got, k, v)
			}
		}
	}
	if d.More() {
		t.Error("more lines than two")
	}
}

// The level and the form are those of the command line, or of the environment.
func TestLogFlags(t *testing.T) {
	t.Setenv("STROKEWISE_LOG_FORMAT", "json")
	if code, _, errOut := call("check", "--config", "none.yaml"); code != exitFault || !json.Valid([]byte(errOut)) {
		t.Errorf("exit %d: %s", code, errOut)
	}
	if code, _, errOut := call("check", "--log-format", "text", "--config", "none.yaml"); code != exitFault || json.Valid([]byte(errOut)) {
		t.Errorf("exit %d: %s", code, errOut)
	}
	if code, _, _ := call("version", "--log-level", "loud"); code != exitUsage {
		t.Errorf("exit %d", code)
	}
}
