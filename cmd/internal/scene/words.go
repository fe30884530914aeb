package scene

import (
	"bytes"
	"encoding/json"
	"io"
	"net/http"
	"strings"
)

// word is a person's word as another program gives it to the pages.
type word struct {
	Kind  string `json:"kind"`
	Alarm string `json:"alarm,omitempty"`
	Who   string `json:"who"`
	Why   string `json:"why"`
	Cause string `json:"cause,omitempty"`
}

// Say passes on a person's word about a station and reports whether it was taken, with the answer.
func (p *Plant) Say(id string, w word) (taken bool, answer string) {
	w.Who = "Ada"
	body, err := json.Marshal(w)
	must(err)
	r, err := http.NewRequestWithContext(p.ctx, http.MethodPost, "http://"+p.app.Addr()+"/station/"+site+"/"+id+"/command", bytes.NewReader(body))
	must(err)
	r.Header.Set("Content-Type", "application/json")
	r.Header.Set("Accept", "application/json")
	status, text := p.fetch(r)
	must(p.app.Settle(p.ctx))
	return status < 300, text
}

// Page returns a page of the program.
func (p *Plant) Page(path string) string {
	r, err := http.NewRequestWithContext(p.ctx, http.MethodGet, "http://"+p.app.Addr()+path, nil)
	must(err)
	status, text := p.fetch(r)
	if status != http.StatusOK {
		p.Wrong("the page %s answers %d", path, status)
	}
	return text
}

func (p *Plant) fetch(r *http.Request) (status int, text string) {
	t := &http.Transport{}
	defer t.CloseIdleConnections()
	res, err := (&http.Client{Transport: t}).Do(r)
	must(err)
	defer res.Body.Close()
	b, err := io.ReadAll(res.Body)
	must(err)
	return res.StatusCode, string(b)
}

// near reports whether a text holds two others within so many characters of each other, in capital
// letters or small ones.
func near(text, a, b string, most int) bool {
	text, a, b = strings.ToLower(text), strings.ToLower(a), strings.ToLower(b)
	for from := 0; ; {
		i := strings.Index(text[from:], a)
		if i < 0 {
			return false
		}
		at := from + i
		if strings.Contains(text[max(0, at-most):min(len(text), at+len(a)+most)], b) {
			return true
		}
		from = at + len(a)
	}
}
