package web

import (
	"encoding/csv"
	"fmt"
	"net/http"
	"strings"
	"testing"
	"time"

	"strokewise/dashboards/history"
	"strokewise/dashboards/trail"
)

// Acts and notes beyond a page are on the next ones, each once.
func TestAuditPages(t *testing.T) {
	var x diary
	for i := range 2*mostActs + 1 {
		x.acts = append(x.acts, history.Act{At: at(-time.Duration(i) * time.Minute), Who: "Ana", What: "vented", Target: "northdock/press-4", Detail: fmt.Sprintf("act %d.", i)})
		x.notes = append(x.notes, history.Note{Key: press().Plate.Key, Who: "Ana", Text: fmt.Sprintf("note %d.", i)})
	}
	o := everything()
	o.Diary = &x
	h, path, pages := New(o), "/audit", ""
	for n := range 3 {
		body := get(h, path).Body.String()
		pages += body
		path = fmt.Sprintf("/audit?page=%d", n+1)
		if last := n == 2; strings.Contains(body, `href="`+path[1:]+`"`) == last {
			t.Errorf("page %d leads on: %v", n, !last)
		}
	}
	for i := range x.acts {
		for _, text := range []string{fmt.Sprintf("act %d.", i), fmt.Sprintf("note %d.", i)} {
			if n := strings.Count(pages, text); n != 1 {
				t.Errorf("%s stands there %d times", text, n)
			}
		}
	}
	for _, bad := range []string{"-1", "x", "99999999999"} {
		if w := get(h, "/audit?page="+bad); w.Code != http.StatusOK || !strings.Contains(w.Body.String(), "act 0.") {
			t.Errorf("page %s: %d", bad, w.Code)
		}
	}
}

// An administrator sees who asked for what and from where, also what was denied, on pages and as CSV.
func TestTheTrailIsShown(t *testing.T) {
	d := newDoors(t)
	c := d.login(t, "administrator")
	for i := range mostActs {
		if err := d.trail.Append(trail.Entry{At: noon, Who: nasty, What: "note", Detail: fmt.Sprintf("=%d", i), From: "10.0.0.9", Outcome: "done"}); err != nil {
			t.Fatal(err)
		}
	}
	page := d.do(knock{method: http.MethodGet, path: trailPath, cookie: c})
	if b := page.Body.String(); page.Code != http.StatusOK || strings.Contains(b, "<script>") || !strings.Contains(b, "10.0.0.9") || !strings.Contains(b, d.trail.Head().String()) {
		t.Errorf("%d %s", page.Code, b)
	}
	older := strings.Split(strings.SplitAfter(page.Body.String(), `href="trail?`)[1], `"`)[0]
	if b := d.do(knock{method: http.MethodGet, path: trailPath + "?" + older, cookie: c}).Body.String(); !strings.Contains(b, "<td>1</td>") || !strings.Contains(b, "<bdi>login</bdi>") {
		t.Error(b)
	}
	w := d.do(knock{method: http.MethodGet, path: csvPath, cookie: c})
	rows, err := csv.NewReader(w.Body).ReadAll()
	if err != nil || len(rows) != mostActs+2 || rows[2][7] != "'=0" || !strings.Contains(w.Header().Get("Content-Disposition"), "attachment") {
		t.Errorf("%d rows, %v, %v", len(rows), w.Header(), err)
	}
	b := d.do(knock{method: http.MethodGet, path: "/audit", cookie: d.login(t, "engineer")}).Body.String()
	if strings.Contains(b, "audit/trail") {
		t.Error("an engineer is led to a page that is not for engineers")
	}
}
