// Package signon lets people log in at an OpenID Connect provider: discovery, the code flow with
// PKCE, state and nonce, and the groups that make a role.
package signon

import (
	"context"
	"crypto/rand"
	"crypto/subtle"
	"errors"
	"fmt"
	"net/http"
	"sync"
	"time"

	"github.com/coreos/go-oidc/v3/oidc"
	"golang.org/x/oauth2"

	"strokewise/dashboards/access"
	"strokewise/rules/notify/egress"
)

// Patience bounds a question to the provider. Own choice, no source.
const Patience = 15 * time.Second

// Options name the provider, and what its answers mean.
type Options struct {
	Issuer, ClientID, Secret string
	Redirect                 string   // address of ours that the provider leads back to
	Scopes                   []string // asked for beside openid
	NameClaim, GroupsClaim   string
	ACR                      string // class that a login must have; "": any
	Roles                    map[string]access.Role
	Client                   *http.Client // nil: the usual one
}

// Provider is an OpenID Connect provider. It is asked for the first time when somebody logs in: one
// that is away keeps nothing else from working.
type Provider struct {
	opt Options

	mu    sync.Mutex
	found *oidc.Provider
}

// New returns a provider.
func New(o Options) *Provider {
	if o.Client == nil {
		o.Client = egress.New(egress.Options{Timeout: Patience})
	}
	return &Provider{opt: o}
}

// Flow is a login under way. It goes along in the browser, and nobody else must see or change it.
type Flow struct {
	State    string    `json:"state"`
	Nonce    string    `json:"nonce"`
	Verifier string    `json:"verifier"`
	Next     string    `json:"next"` // where it leads on to
	Again    bool      `json:"again,omitempty"`
	Began    time.Time `json:"began"`
}

// flowLasts is for how long somebody may take at the provider. Own choice: a second factor takes a walk to the locker.
const flowLasts = 10 * time.Minute

// skew is by how much the provider's clock may differ from ours.
const skew = time.Minute

func (p *Provider) context(ctx context.Context) context.Context {
	return oidc.ClientContext(ctx, p.opt.Client)
}

// discover returns what the provider says of itself.
func (p *Provider) discover(ctx context.Context) (*oidc.Provider, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.found != nil {
		return p.found, nil
	}
	found, err := oidc.NewProvider(p.context(ctx), p.opt.Issuer)
	if err != nil {
		return nil, &Fault{"cannot reach the login of the organisation", err}
	}
	p.found = found
	return found, nil
}

func (p *Provider) config(found *oidc.Provider) *oauth2.Config {
	return &oauth2.Config{ClientID: p.opt.ClientID, ClientSecret: p.opt.Secret, Endpoint: found.Endpoint(), RedirectURL: p.opt.Redirect,
		Scopes: append([]string{oidc.ScopeOpenID}, p.opt.Scopes...)}
}

// Begin starts a login that leads on to next, and returns the provider's address for it. With again
// the provider asks for the password, whoever is logged in there.
func (p *Provider) Begin(ctx context.Context, next string, again bool, now time.Time) (string, Flow, error) {
	found, err := p.discover(ctx)
	if err != nil {
		return "", Flow{}, err
	}
	f := Flow{State: rand.Text(), Nonce: rand.Text(), Verifier: oauth2.GenerateVerifier(), Next: next, Again: again, Began: now}
	options := []oauth2.AuthCodeOption{oidc.Nonce(f.Nonce), oauth2.S256ChallengeOption(f.Verifier)}
	if again {
		options = append(options, oauth2.SetAuthURLParam("prompt", "login"), oauth2.SetAuthURLParam("max_age", "0"))
	}
	if p.opt.ACR != "" {
		options = append(options, oauth2.SetAuthURLParam("acr_values", p.opt.ACR))
	}
	return p.config(found).AuthCodeURL(f.State, options...), f, nil
}

// Errors of a login that did not come to its end as it must.
var (
	ErrFlow = errors.New("the login was not begun here, or took too long: begin again")
	ErrRole = errors.New("none of your groups may see these pages: ask an administrator")
)

// Fault is a failure of the provider, or of the way to it. Said is for whoever tried to log in; what lies behind names
// addresses and answers, and is for administrators.
type Fault struct {
	Said string
	Err  error
}

// Error returns all of it.
func (f *Fault) Error() string { return f.Said + ": " + f.Err.Error() }

// Unwrap returns what lies behind.
func (f *Fault) Unwrap() error { return f.Err }

// claims are what we read of a token.
type claims struct {
	all      map[string]any
	AuthTime int64  `json:"auth_time"`
	ACR      string `json:"acr"`
}

// Finish ends a login with what the provider's answer carries, and returns who it is, and when that
// was proved to the provider: zero where it does not say.
func (p *Provider) Finish(ctx context.Context, f Flow, state, code string, now time.Time) (access.Grant, time.Time, error) {
	if f.State == "" || subtle.ConstantTimeCompare([]byte(f.State), []byte(state)) != 1 || now.Sub(f.Began) > flowLasts || f.Began.Sub(now) > skew {
		return access.Grant{}, time.Time{}, ErrFlow
	}
	c, err := p.exchange(ctx, &f, code)
	if err != nil {
		return access.Grant{}, time.Time{}, err
	}
	var proved time.Time
	if c.AuthTime > 0 {
		proved = time.Unix(c.AuthTime, 0)
	}
	switch {
	case p.opt.ACR != "" && c.ACR != p.opt.ACR:
		return access.Grant{}, time.Time{}, fmt.Errorf("the login is of class %.40q and must be of class %q", c.ACR, p.opt.ACR)
	case f.Again && proved.Before(f.Began.Add(-skew)):
		return access.Grant{}, time.Time{}, errors.New("the provider did not ask for the password again")
	}
	g, err := p.grant(c.all)
	return g, proved, err
}

// exchange trades the code for the tokens, checks them, and reads who it is.
func (p *Provider) exchange(ctx context.Context, f *Flow, code string) (*claims, error) {
	found, err := p.discover(ctx)
	if err != nil {
		return nil, err
	}
	ctx = p.context(ctx)
	token, err := p.config(found).Exchange(ctx, code, oauth2.VerifierOption(f.Verifier))
	if err != nil {
		return nil, &Fault{"the provider does not take its own code", answered(err)}
	}
	raw, _ := token.Extra("id_token").(string)
	id, err := found.Verifier(&oidc.Config{ClientID: p.opt.ClientID}).Verify(ctx, raw)
	if err != nil {
		return nil, &Fault{"the provider's token is not sound", err}
	}
	if subtle.ConstantTimeCompare([]byte(id.Nonce), []byte(f.Nonce)) != 1 {
		return nil, ErrFlow
	}
	c := &claims{all: map[string]any{}}
	if err := errors.Join(id.Claims(c), id.Claims(&c.all)); err != nil {
		return nil, &Fault{"the provider's token cannot be read", err}
	}
	return c, p.more(ctx, found, token, id.Subject, c)
}

// answered returns an error of the token endpoint without its answer's body, which may repeat what was sent: our secret.
func answered(err error) error {
	var r *oauth2.RetrieveError
	if errors.As(err, &r) {
		return fmt.Errorf("it answers %s, error %.40q", r.Response.Status, r.ErrorCode)
	}
	return err
}

// more adds what the provider says at its userinfo endpoint: many list groups nowhere else. What the
// signed token says stays.
func (p *Provider) more(ctx context.Context, found *oidc.Provider, token *oauth2.Token, subject string, c *claims) error {
	if c.all[p.opt.NameClaim] != nil && c.all[p.opt.GroupsClaim] != nil || found.UserInfoEndpoint() == "" {
		return nil
	}
	info, err := found.UserInfo(ctx, oauth2.StaticTokenSource(token))
	if err != nil {
		return &Fault{"the provider does not say who it is", err}
	}
	if info.Subject != subject { // OpenID Connect Core 5.3.2
		return errors.New("the provider speaks of somebody else")
	}
	more := map[string]any{}
	if err := info.Claims(&more); err != nil {
		return &Fault{"the provider's answer cannot be read", err}
	}
	for k, v := range more {
		if _, ok := c.all[k]; !ok {
			c.all[k] = v
		}
	}
	return nil
}

// grant makes name and role from claims: the highest role of any group.
func (p *Provider) grant(all map[string]any) (access.Grant, error) {
	name, _ := all[p.opt.NameClaim].(string)
	if err := access.CheckName(name); err != nil {
		return access.Grant{}, fmt.Errorf("the claim %s is no name that can stand in the audit: %w", p.opt.NameClaim, err)
	}
	g := access.Grant{Name: name}
	for _, group := range groupsOf(all[p.opt.GroupsClaim]) {
		g.Role = max(g.Role, p.opt.Roles[group])
	}
	if g.Role == access.Nobody {
		return access.Grant{}, ErrRole
	}
	return g, nil
}

// groupsOf returns the groups of a claim: a list, or one alone.
func groupsOf(v any) []string {
	switch v := v.(type) {
	case string:
		return []string{v}
	case []any:
		var out []string
		for _, x := range v {
			if s, ok := x.(string); ok {
				out = append(out, s)
			}
		}
		return out
	}
	return nil
}
