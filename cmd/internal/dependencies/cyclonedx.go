package dependencies

import (
	"encoding/json"
	"net/url"
	"strings"
)

// The part of CycloneDX 1.5 (ECMA-424) that a bill of modules needs.
type bill struct {
	Schema   string      `json:"$schema"`
	Format   string      `json:"bomFormat"`
	Spec     string      `json:"specVersion"`
	Version  int         `json:"version"`
	Metadata metadata    `json:"metadata"`
	Parts    []component `json:"components"`
	Needs    []needs     `json:"dependencies"`
}

type metadata struct {
	Component component `json:"component"`
}

type component struct {
	Type     string     `json:"type"`
	Ref      string     `json:"bom-ref"`
	Name     string     `json:"name"`
	Version  string     `json:"version,omitempty"`
	URL      string     `json:"purl"`
	Scope    string     `json:"scope,omitempty"`
	Licences []licensed `json:"licenses,omitempty"`
}

type licensed struct {
	License struct {
		ID string `json:"id"`
	} `json:"license"`
}

type needs struct {
	Ref string   `json:"ref"`
	On  []string `json:"dependsOn"`
}

func part(kind, path, version, licence string) component {
	c := component{Type: kind, Name: path, Version: version, URL: packageURL(path, version)}
	c.Ref = c.URL
	if licence != "" {
		c.Licences = make([]licensed, 1)
		c.Licences[0].License.ID = licence
	}
	return c
}

// packageURL returns the address of a Go module in the form of purl.
func packageURL(path, version string) string {
	parts := strings.Split(path, "/")
	for i := range parts {
		parts[i] = url.PathEscape(parts[i])
	}
	to := "pkg:golang/" + strings.Join(parts, "/")
	if version != "" {
		to += "@" + url.PathEscape(version)
	}
	return to
}

// CycloneDX returns the bill of materials of a program of ours, the Go release that builds it, and
// the modules. The same input gives the same bytes.
func CycloneDX(program, version, licence, goVersion string, list []Module) ([]byte, error) {
	b := bill{Schema: "http://cyclonedx.org/schema/bom-1.5.schema.json", Format: "CycloneDX", Spec: "1.5", Version: 1}
	b.Metadata.Component = part("application", program, version, licence)
	all := append([]Module{{Path: "std", Version: strings.TrimPrefix(goVersion, "go"), Licence: "BSD-3-Clause"}}, list...)
	on := needs{Ref: b.Metadata.Component.Ref}
	for i := range all {
		c := part("library", all[i].Path, all[i].Version, all[i].Licence)
		c.Scope = "required"
		if all[i].script {
			c.URL = "pkg:npm/" + c.Name + "@" + c.Version
			c.Ref = c.URL
		}
		b.Parts, on.On = append(b.Parts, c), append(on.On, c.Ref)
	}
	b.Needs = []needs{on}
	out, err := json.MarshalIndent(&b, "", "  ")
	return append(out, '\n'), err
}
