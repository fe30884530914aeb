package deploy

import (
	"bytes"
	"crypto/sha256"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// tool returns the path of a program of the system, or skips the test.
func tool(t *testing.T, name string) string {
	t.Helper()
	path, err := exec.LookPath(name)
	if err != nil {
		t.Skip(name + " is not installed")
	}
	return path
}

func file(t *testing.T, path, text string) string {
	t.Helper()
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	return path
}

func read(t *testing.T, path string) string {
	t.Helper()
	text, err := os.ReadFile(path)
	if err != nil {
		t.Error(err)
	}
	return string(text)
}

// packed makes a package around a text in the place of the program.
func packed(t *testing.T, version string) string {
	t.Helper()
	dir := t.TempDir()
	out := filepath.Join(dir, "strokewise.deb")
	other := file(t, filepath.Join(dir, "other"), "something\n")
	cmd := exec.Command("sh", "debian/build.sh", file(t, filepath.Join(dir, "program"), "program "+version), version, "amd64", other, other, other, out)
	cmd.Env = append(os.Environ(), "SOURCE_DATE_EPOCH=1767225600")
	if text, err := cmd.CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, text)
	}
	return out
}

// machine is a root folder with a package database of its own.
type machine struct {
	t    *testing.T
	dpkg string
	root string
}

func newMachine(t *testing.T) *machine {
	m := &machine{t: t, dpkg: tool(t, "dpkg"), root: t.TempDir()}
	tool(t, "dpkg-deb")
	for _, f := range []string{"status", "available"} {
		file(t, m.at("var/lib/dpkg/"+f), "")
	}
	for _, d := range []string{"info", "updates", "triggers"} {
		if err := os.MkdirAll(m.at("var/lib/dpkg/"+d), 0o755); err != nil {
			t.Fatal(err)
		}
	}
	return m
}

func (m *machine) at(path string) string { return filepath.Join(m.root, path) }

func (m *machine) do(args ...string) {
	m.t.Helper()
	all := append([]string{"--instdir=" + m.root, "--admindir=" + m.at("var/lib/dpkg"), "--log=" + m.at("dpkg.log"), "--force-script-chrootless", "--force-not-root", "--force-architecture", "--force-depends"}, args...)
	cmd := exec.Command(m.dpkg, all...)
	cmd.Env = append(os.Environ(), "LC_ALL=C")
	if out, err := cmd.CombinedOutput(); err != nil {
		m.t.Fatalf("dpkg %s: %v: %s", strings.Join(args, " "), err, out)
	}
}

// Through install, upgrade, return to the version before, remove and purge, the history and what people
// wrote stay as they are. No service manager runs in the folder: what starts and stops the service is
// not part of this test.
func TestPackageKeepsData(t *testing.T) {
	m := newMachine(t)
	program := m.at("usr/bin/strokewise")
	kept := map[string]string{"var/lib/strokewise/history.db": "history", "etc/strokewise/strokewise.yaml": "configuration", "etc/strokewise/secrets/mqtt.password": "secret"}
	holds := func(after string) {
		t.Helper()
		for path, want := range kept {
			if got := read(t, m.at(path)); got != want {
				t.Errorf("after %s %s holds %q", after, path, got)
			}
		}
	}
	first, second := packed(t, "v1.0.0"), packed(t, "v1.1.0-rc1")
	m.do("--install", first)
	for _, path := range []string{"usr/lib/systemd/system/strokewise.service", "usr/share/man/man1/strokewise.1.gz", "usr/share/bash-completion/completions/strokewise", "usr/share/doc/strokewise/examples/strokewise.example.yaml",
		"usr/share/doc/strokewise/examples/prometheus.stations.rules.yaml", "usr/share/doc/strokewise/examples/grafana/plant.json"} {
		if _, err := os.Stat(m.at(path)); err != nil {
			t.Error(err)
		}
	}
	if info, err := os.Stat(m.at("etc/strokewise/secrets")); err != nil || info.Mode().Perm() != 0o700 {
		t.Errorf("folder of secrets: %v, %v", info, err)
	}
	for path, text := range kept {
		file(t, m.at(path), text)
	}
	m.do("--install", second)
	holds("the upgrade")
	if got := read(t, program); got != "program v1.1.0-rc1" {
		t.Errorf("after the upgrade the program is %q", got)
	}
	m.do("--install", first)
	holds("the return")
	if got := read(t, program); got != "program v1.0.0" {
		t.Errorf("after the return the program is %q", got)
	}
	for _, how := range []string{"--remove", "--purge"} {
		m.do(how, "strokewise")
		holds(how)
		if _, err := os.Stat(program); err == nil {
			t.Errorf("the program is there after %s", how)
		}
	}
}

// The same input makes the same package, in whatever folder and at whatever time.
func TestPackageIsReproducible(t *testing.T) {
	tool(t, "dpkg-deb")
	sum := func() [32]byte { return sha256.Sum256([]byte(read(t, packed(t, "v1.0.0")))) }
	if first, second := sum(), sum(); first != second {
		t.Error("two packages of the same input differ")
	}
}

// A version that is not a release yet comes before it.
func TestPackageVersions(t *testing.T) {
	deb, dpkg := tool(t, "dpkg-deb"), tool(t, "dpkg")
	version := func(v string) string {
		out, err := exec.Command(deb, "--field", packed(t, v), "Version").Output()
		if err != nil {
			t.Fatal(err)
		}
		return string(bytes.TrimSpace(out))
	}
	if a, b := version("v1.1.0-rc1"), version("v1.1.0"); exec.Command(dpkg, "--compare-versions", a, "lt", b).Run() != nil {
		t.Errorf("%s is not before %s", a, b)
	}
}
