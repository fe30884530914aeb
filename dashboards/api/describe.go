package api

import (
	_ "embed"
	"net/http"
)

// description is the OpenAPI document: go test -update writes it.
//
//go:embed openapi.json
var description []byte

// describe answers with the OpenAPI document.
func describe(w http.ResponseWriter, r *http.Request) {
	deliver(w, r, "application/json", description)
}
