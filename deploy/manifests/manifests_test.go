// Package manifests holds the files for containers against the reference libraries of their formats. It is a module of its own, so
// that those libraries are no dependencies of the program.
package manifests

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/compose-spec/compose-go/v2/loader"
	"github.com/compose-spec/compose-go/v2/types"
	apps "k8s.io/api/apps/v1"
	core "k8s.io/api/core/v1"
	"sigs.k8s.io/yaml"
)

// The compose file is valid by the schema and the rules of the Compose Specification (its reference library), and every file that it
// mounts is in the tree, but for secrets, which people make.
func TestComposeFile(t *testing.T) {
	const dir = "../compose"
	text, err := os.ReadFile(filepath.Join(dir, "compose.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	p, err := loader.LoadWithContext(t.Context(), types.ConfigDetails{WorkingDir: dir, ConfigFiles: []types.ConfigFile{{Filename: "compose.yaml", Content: text}}})
	if err != nil {
		t.Fatal(err)
	}
	if len(p.Services) != 6 {
		t.Errorf("%d services", len(p.Services))
	}
	for _, s := range p.Services {
		for _, v := range s.Volumes {
			if v.Type == types.VolumeTypeBind {
				if _, err := os.Stat(v.Source); err != nil {
					t.Errorf("%s: %v", s.Name, err)
				}
			}
		}
		for _, port := range s.Ports {
			if port.HostIP != "127.0.0.1" {
				t.Errorf("%s publishes %s beyond this machine", s.Name, port.Published)
			}
		}
	}
	if own := p.Services["strokewise"]; !own.ReadOnly || len(own.CapDrop) != 1 || own.CapDrop[0] != "ALL" {
		t.Error("strokewise may write its root folder, or keeps capabilities")
	}
}

// The manifests are, to the last member, objects of the Kubernetes API of the types that they name (its Go types, decoded strictly), and
// agree with each other.
func TestKubernetesManifests(t *testing.T) {
	text, err := os.ReadFile("../kubernetes/strokewise.yaml")
	if err != nil {
		t.Fatal(err)
	}
	var (
		settings core.ConfigMap
		service  core.Service
		set      apps.StatefulSet
	)
	kinds := map[string]any{"v1/ConfigMap": &settings, "v1/Service": &service, "apps/v1/StatefulSet": &set}
	for _, doc := range bytes.Split(text, []byte("\n---\n")) {
		var kind struct{ APIVersion, Kind string }
		if err := yaml.Unmarshal(doc, &kind); err != nil {
			t.Fatal(err)
		}
		name := kind.APIVersion + "/" + kind.Kind
		into, ok := kinds[name]
		if !ok {
			t.Fatalf("unexpected or repeated kind %s", name)
		}
		delete(kinds, name)
		if err := yaml.UnmarshalStrict(doc, into); err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
	if len(kinds) > 0 {
		t.Fatalf("missing: %v", kinds)
	}
	pod := set.Spec.Template
	for k, v := range set.Spec.Selector.MatchLabels {
		if pod.Labels[k] != v || service.Spec.Selector[k] != v {
			t.Errorf("label %s: %s selects neither or only one of pod and service", k, v)
		}
	}
	if *set.Spec.Replicas != 1 || set.Spec.ServiceName != service.Name {
		t.Errorf("%d replicas of service %q", *set.Spec.Replicas, set.Spec.ServiceName)
	}
	volumes := map[string]bool{}
	for _, v := range pod.Spec.Volumes {
		volumes[v.Name] = true
		if v.ConfigMap != nil && v.ConfigMap.Name != settings.Name {
			t.Errorf("volume %s is of %s", v.Name, v.ConfigMap.Name)
		}
	}
	for _, v := range set.Spec.VolumeClaimTemplates {
		volumes[v.Name] = true
	}
	for _, m := range pod.Spec.Containers[0].VolumeMounts {
		if !volumes[m.Name] {
			t.Errorf("mount %s has no volume", m.Name)
		}
		if _, ok := settings.Data[m.SubPath]; m.SubPath != "" && !ok {
			t.Errorf("the configuration has no %s", m.SubPath)
		}
	}
	host := pod.Spec.Containers[0].ReadinessProbe.HTTPGet.HTTPHeaders[0].Value
	if !strings.Contains(settings.Data["strokewise.yaml"], ", "+host+"]") {
		t.Errorf("the probes ask for %s, which is not in hosts", host)
	}
}
