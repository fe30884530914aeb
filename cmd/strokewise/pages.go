package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"net"
	"net/http"
	"net/url"
	"time"

	"strokewise/cmd/internal/config"
	"strokewise/rules/notify/egress"
)

// pagesURL is the address of the running program.
type pagesURL struct {
	URL       string `default:"http://127.0.0.1:8420" help:"Address of the running program's pages."`
	TokenFile string `placeholder:"FILE" env:"STROKEWISE_TOKEN_FILE" help:"File with a token (strokewise token add), where people log in to the pages."`
	CAFile    string `name:"ca-file" placeholder:"FILE" help:"Authority of the pages' certificate; default: the system's."`
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
func (p *pagesURL) request(e *env, within time.Duration, method string, at *url.URL, body any, read func(*http.Response) error) error {
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
	client, err := p.client(req)
	if err != nil {
		return err
	}
	res, err := client.Do(req)
	if err != nil {
		return fmt.Errorf("cannot reach the running program: %w; is it running, and is --url the address of its pages?", err)
	}
	defer res.Body.Close()
	return read(res)
}

// client returns what sends a request, with the token that it carries.
func (p *pagesURL) client(req *http.Request) (*http.Client, error) {
	if p.TokenFile != "" {
		if host := req.URL.Hostname(); req.URL.Scheme != "https" && host != "localhost" && !net.ParseIP(host).IsLoopback() {
			return nil, fmt.Errorf("--url is %q: a token is sent over https only, or to this machine", p.URL)
		}
		token, err := config.ReadSecret(p.TokenFile)
		if err != nil {
			return nil, err
		}
		req.Header.Set("Authorization", "Bearer "+token.Reveal())
	}
	files, err := clientTLS(&config.TLS{CAFile: p.CAFile})
	if err != nil {
		return nil, err
	}
	req.Close = true
	return egress.New(egress.Options{TLS: files, Dial: (&net.Dialer{}).DialContext}), nil // --url may lead anywhere
}
