package web

import (
	"context"
	"net/http"
)

// Reload reads the configuration again. A faulty one changes nothing, and the error says where.
type Reload func(ctx context.Context) (Reloaded, error)

// Reloaded is a configuration that was taken.
type Reloaded struct {
	Stations int      `json:"stations"`
	Anew     []string `json:"anew,omitempty"` // keys for which the runtime begins anew right after the answer
}

const reloadPath = "/reload"

// reload has the configuration read again and answers with what became of it.
func (s *site) reload(w http.ResponseWriter, r *http.Request) {
	done, err := s.Reload(r.Context())
	if err != nil {
		noted(r).Outcome = "refused"
		reply(w, http.StatusConflict, map[string]string{"outcome": "refused", "reason": err.Error()})
		return
	}
	reply(w, http.StatusOK, struct {
		Outcome string `json:"outcome"`
		Reloaded
	}{"done", done})
}
