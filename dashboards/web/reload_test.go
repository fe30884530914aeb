package web

import (
	"bytes"
	"context"
	"errors"
	"net/http"
	"strings"
	"testing"
)

// The answer says what was taken, or why it was refused; without a configuration file there is no such path.
func TestReloadSaysWhatBecameOfIt(t *testing.T) {
	o := fixture(press())
	if w := submit(New(o), reloadPath, "", &bytes.Buffer{}, ""); w.Code != http.StatusNotFound && w.Code != http.StatusMethodNotAllowed {
		t.Errorf("without a file: %d", w.Code)
	}
	var err error
	o.Reload = func(context.Context) (Reloaded, error) { return Reloaded{Stations: 3, Anew: []string{"mqtt"}}, err }
	w := submit(New(o), reloadPath, "", &bytes.Buffer{}, "")
	if got := strings.TrimSpace(w.Body.String()); w.Code != http.StatusOK || got != `{"outcome":"done","stations":3,"anew":["mqtt"]}` {
		t.Errorf("%d %s", w.Code, got)
	}
	err = errors.New("plant.yaml:3: data: is a list\nplant.yaml:9: unknown key")
	w = submit(New(o), reloadPath, "", &bytes.Buffer{}, "")
	if got := w.Body.String(); w.Code != http.StatusConflict || !strings.Contains(got, `"outcome":"refused"`) || !strings.Contains(got, "plant.yaml:9") {
		t.Errorf("%d %s", w.Code, got)
	}
	if w = submit(New(o), reloadPath, "", &bytes.Buffer{}, "http://evil.example"); w.Code != http.StatusForbidden {
		t.Errorf("from a page of another origin: %d", w.Code)
	}
}
