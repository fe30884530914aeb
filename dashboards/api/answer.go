package api

import (
	"bytes"
	"crypto/sha256"
	"encoding/csv"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"net/http"
	"reflect"
	"strconv"
	"strings"

	"strokewise/dashboards/trail"
)

// page is a list of rows.
type page[T any] struct {
	Items []T    `json:"items"`
	Next  string `json:"next,omitempty"` // address of the following rows; none: these are the last
}

// rows returns the rows, and the address of the following ones.
func (p *page[T]) rows() (any, string) { return p.Items, p.Next }

// paged is a page of whatever rows.
type paged interface {
	rows() (list any, next string)
}

// paging cuts rows that are in order to those of a page; key returns where one stands. after and limit are the query's.
func paging[T any](r *http.Request, list []T, key func(*T) string, after string, limit int) *page[T] {
	p := &page[T]{Items: []T{}}
	for i := range list {
		if after != "" && key(&list[i]) <= after {
			continue
		}
		if len(p.Items) == limit {
			p.Next = next(r, "after", key(&p.Items[limit-1]))
			break
		}
		p.Items = append(p.Items, list[i])
	}
	return p
}

// answering serves what a function answers: as JSON or, where the reader wants CSV and the answer has rows, as CSV; with an ETag.
func answering(of func(*http.Request) (any, error)) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		answer, err := of(r)
		if err != nil {
			fail(w, err)
			return
		}
		w.Header().Add("Vary", "Accept")
		list, isList := answer.(paged)
		kind, encode := "application/json", encodeJSON
		if isList && wantsCSV(r.Header.Get("Accept")) {
			kind, encode = "text/csv; charset=utf-8", encodeCSV
			if _, following := list.rows(); following != "" {
				w.Header().Set("Link", "<"+following+`>; rel="next"`)
			}
		}
		var body bytes.Buffer
		if err := encode(&body, answer); err != nil {
			fail(w, &Problem{Status: http.StatusInternalServerError, Detail: "cannot write the answer: " + err.Error()})
			return
		}
		deliver(w, r, kind, body.Bytes())
	})
}

// deliver writes an answer, unless the reader has it already.
func deliver(w http.ResponseWriter, r *http.Request, kind string, body []byte) {
	sum := sha256.Sum256(body)
	tag := `"` + hex.EncodeToString(sum[:12]) + `"`
	w.Header().Set("ETag", tag)
	w.Header().Set("Cache-Control", "private, no-cache")
	for _, known := range strings.Split(r.Header.Get("If-None-Match"), ",") {
		known = strings.TrimPrefix(strings.TrimSpace(known), "W/")
		if strings.Replace(known, `-gzip"`, `"`, 1) == tag {
			w.WriteHeader(http.StatusNotModified)
			return
		}
	}
	w.Header().Set("Content-Type", kind)
	_, _ = w.Write(body) // a reader that went away is no fault of ours
}

func wantsCSV(accept string) bool {
	first, _, _ := strings.Cut(accept, ",")
	kind, _, _ := strings.Cut(first, ";")
	return strings.TrimSpace(kind) == "text/csv"
}

func encodeJSON(w *bytes.Buffer, answer any) error {
	e := json.NewEncoder(w)
	e.SetEscapeHTML(false)
	return e.Encode(answer)
}

// encodeCSV writes rows with a line of names: those of the members in JSON. What is unknown is empty; times and numbers are as in JSON, and
// texts are guarded against being taken for formulas.
func encodeCSV(w *bytes.Buffer, answer any) error {
	list, _ := answer.(paged).rows()
	rows := reflect.ValueOf(list)
	fields := reflect.VisibleFields(rows.Type().Elem())
	out := csv.NewWriter(w)
	line := make([]string, len(fields))
	for i, f := range fields {
		line[i], _, _ = strings.Cut(f.Tag.Get("json"), ",")
	}
	if err := out.Write(line); err != nil {
		return err
	}
	for n := range rows.Len() {
		for i, f := range fields {
			line[i] = cell(rows.Index(n).FieldByIndex(f.Index))
		}
		if err := out.Write(line); err != nil {
			return err
		}
	}
	out.Flush()
	return out.Error()
}

// cell writes a value of a row.
func cell(v reflect.Value) string {
	if v.Kind() == reflect.Pointer {
		if v.IsNil() {
			return ""
		}
		v = v.Elem()
	}
	switch v.Kind() {
	case reflect.Float64:
		return strconv.FormatFloat(v.Float(), 'g', -1, 64)
	case reflect.String:
		return trail.Cell(v.String())
	}
	return fmt.Sprint(v.Interface())
}
