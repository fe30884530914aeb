package signon

import (
	"encoding/json"
	"testing"

	"strokewise/dashboards/access"
)

// FuzzClaims: whatever a provider's token claims, whoever is let in has a name that can stand in the audit and a role of the
// configuration.
func FuzzClaims(f *testing.F) {
	f.Add([]byte(`{"preferred_username":"nora","groups":["mechanics"]}`))
	f.Add([]byte(`{"preferred_username":"strokewise","groups":"mechanics"}`))
	f.Add([]byte(`{"preferred_username":{"x":1},"groups":[1,null,["mechanics"]]}`))
	p := New(Options{NameClaim: "preferred_username", GroupsClaim: "groups", Roles: map[string]access.Role{"mechanics": access.Operator}})
	f.Fuzz(func(t *testing.T, data []byte) {
		var all map[string]any
		if json.Unmarshal(data, &all) != nil {
			return
		}
		if g, err := p.grant(all); err == nil && (g.Role != access.Operator || access.CheckName(g.Name) != nil || len(g.Scopes) > 0 || len(g.Only) > 0) {
			t.Errorf("%s: %+v", data, g)
		}
	})
}
