package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"net/url"
	"time"
)

// pagesURL is the address of the running program.
type pagesURL struct {
	URL string `default:"http://127.0.0.1:8420" help:"Address of the running program's pages."`
}

// page returns the address of a page of the running program.
func (p *pagesURL) page(path ...string) (*url.URL, error) {
	base, err := url.Parse(p.URL)
	if err != nil || base.Host == "" || base.Scheme != "http" && base.Scheme != "https" {
		return nil, fmt.Errorf("--url is %q: expected the address of the pages, as in http://127.0.0.1:8420", p.URL)
	}
	return base.JoinPath(path...), nil
}

// request sends a request with body as JSON to the running program, and its answer to read. All of it may take within.
func request(e *env, within time.Duration, method string, at *url.URL, body any, read func(*http.Response) error) error {
	data, err := json.Marshal(body)
	if err != nil {
		return err
	}
	ctx, cancel := context.WithTimeout(e.ctx, within)
	defer cancel()
	req, err := http.NewRequestWithContext(ctx, method, at.String(), bytes.NewReader(data))
	if err != nil {
		return err
	}
	req.Header.Set("Content-Type", "application/json")
	req.Header.Set("Accept", "application/json")
	res, err := http.DefaultClient.Do(req)
	if err != nil {
		return fmt.Errorf("cannot reach the running program: %w; is it running, and is --url the address of its pages?", err)
	}
	defer res.Body.Close()
	return read(res)
}
