package main

import (
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"strokewise/deploy/peers"
)

// nobody is a user without rights, as whom the tests run the program: root may do anything.
const nobody = 65534

// openFolder gives a folder that any user may enter.
func openFolder(t *testing.T) string {
	t.Helper()
	dir, err := os.MkdirTemp("", "strokewise")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { os.RemoveAll(dir) })
	if err := os.Chmod(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	return dir
}

// A data folder that cannot be used is said at the start, in one line, with its name and
// what is wrong with it.
func TestAnUnusableDataFolderIsSaidAtTheStart(t *testing.T) {
	if os.Getuid() != 0 {
		t.Skip("needs root, to give folders to another user")
	}
	broker := peers.Mosquitto(t)
	top := openFolder(t)
	self := filepath.Join(top, "strokewise")
	copyFile(t, os.Args[0], self)
	for name, c := range map[string]struct {
		prepare func(dir string) error
		want    []string
	}{
		"read-only": {func(dir string) error { return os.Mkdir(dir, 0o555) }, []string{"permission denied", "data"}},
		"not to be entered": {func(dir string) error {
			return os.Mkdir(dir, 0o700) // root's
		}, []string{"permission denied"}},
		"a file":            {func(dir string) error { return os.WriteFile(dir, nil, 0o666) }, []string{"not a directory"}},
		"parent read-only":  {func(dir string) error { return nil }, []string{"permission denied"}},
		"log is a file":     {inside(os.WriteFile, "log"), []string{"not a directory"}},
		"history read-only": {inside(os.WriteFile, "history.db"), []string{"history"}},
		"another's log": {func(dir string) error {
			if err := os.Mkdir(dir, 0o777); err != nil {
				return err
			}
			return os.MkdirAll(filepath.Join(dir, "log", "stream", "jetstream"), 0o700)
		}, []string{"permission denied"}},
		"another's stream": {func(dir string) error {
			return errorsOf(os.Mkdir(dir, 0o777), os.Chmod(dir, 0o777), os.Mkdir(filepath.Join(dir, "log"), 0o777), os.Chmod(filepath.Join(dir, "log"), 0o777), os.Mkdir(filepath.Join(dir, "log", "stream"), 0o700))
		}, []string{"permission denied"}},
		"another's streams": {func(dir string) error {
			in := filepath.Join(dir, "log", "stream")
			return errorsOf(os.MkdirAll(in, 0o777), os.Chmod(dir, 0o777), os.Chmod(filepath.Dir(in), 0o777), os.Chmod(in, 0o777), os.Mkdir(filepath.Join(in, "jetstream"), 0o700))
		}, []string{"JetStream"}},
	} {
		t.Run(name, func(t *testing.T) {
			dir := filepath.Join(openFolder(t), "data")
			if err := c.prepare(dir); err != nil {
				t.Fatal(err)
			}
			cfg := filepath.Join(top, strings.ReplaceAll(name, " ", "-")+".yaml")
			text, err := os.ReadFile(configOf(t, broker.Addr, dir, ""))
			if err == nil {
				err = os.WriteFile(cfg, text, 0o644)
			}
			if err != nil {
				t.Fatal(err)
			}
			cmd := exec.Command(self, "run", "--config", cfg)
			cmd.Env = append(os.Environ(), childEnv+"=1")
			cmd.Dir = top
			cmd.SysProcAttr = &syscall.SysProcAttr{Credential: &syscall.Credential{Uid: nobody, Gid: nobody}}
			timer := time.AfterFunc(patience, func() { cmd.Process.Kill() })
			began := time.Now()
			out, err := cmd.CombinedOutput()
			timer.Stop()
			odd, said, _ := strings.Cut(string(out), "\n") // that the folder is open to others, where it is
			if !strings.Contains(odd, "odd configuration") {
				said = string(out)
			}
			t.Logf("after %s: %s", time.Since(began).Round(time.Millisecond), out)
			if strings.Count(said, "\n") != 1 || !strings.Contains(said, "user that runs strokewise") {
				t.Error("does not say in one line what to do")
			}
			if cmd.ProcessState.ExitCode() != exitFault || !strings.Contains(said, dir) {
				t.Errorf("%v: %s", err, said)
			}
			for _, w := range c.want {
				if !strings.Contains(said, w) {
					t.Errorf("does not say %q", w)
				}
			}
			if strings.Contains(said, "panic") || strings.Contains(said, "goroutine") {
				t.Error("it crashed")
			}
		})
	}
}

func errorsOf(errs ...error) error {
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return nil
}

// inside makes a folder that everybody may write to with a file in it that is root's.
func inside(write func(string, []byte, os.FileMode) error, name string) func(dir string) error {
	return func(dir string) error {
		return errorsOf(os.Mkdir(dir, 0o777), os.Chmod(dir, 0o777), write(filepath.Join(dir, name), nil, 0o444))
	}
}

func copyFile(t *testing.T, from, to string) {
	t.Helper()
	src, err := os.Open(from)
	if err != nil {
		t.Fatal(err)
	}
	defer src.Close()
	dst, err := os.OpenFile(to, os.O_CREATE|os.O_WRONLY, 0o755)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := io.Copy(dst, src); err != nil {
		t.Fatal(err)
	}
	if err := dst.Close(); err != nil {
		t.Fatal(err)
	}
}
