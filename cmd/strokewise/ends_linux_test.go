package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/alecthomas/kong"
	"golang.org/x/sys/unix"

	"strokewise/cmd/internal/app"
	"strokewise/dashboards/access"
	"strokewise/dashboards/history"
)

// trial is a command line that does not end by itself: its input has no end, or nobody answers.
type trial struct {
	args    []string
	working func(done <-chan struct{}) // returns once the command is at it, or has ended
	empty   string                     // folder in which nothing is left, "": none
	code    int
	input   string // the standard input
}

// awaits polls until ok, or until the command has ended.
func awaits(t *testing.T, what string, done <-chan struct{}, ok func() bool) {
	t.Helper()
	for until := time.Now().Add(patience); !ok(); time.Sleep(5 * time.Millisecond) {
		select {
		case <-done:
			return
		default:
		}
		if time.Now().After(until) {
			t.Fatalf("waited in vain for %s", what)
		}
	}
}

// pipe makes a named pipe. What fill writes comes out of it; then it stays open and silent.
func pipe(t *testing.T, name string, fill func(io.Writer)) (path string, working func(<-chan struct{})) {
	t.Helper()
	path = filepath.Join(t.TempDir(), name)
	if err := syscall.Mkfifo(path, 0o600); err != nil {
		t.Fatal(err)
	}
	return path, func(done <-chan struct{}) {
		var fd int
		awaits(t, "a reader of "+name, done, func() (ok bool) {
			var err error
			fd, err = syscall.Open(path, syscall.O_WRONLY|syscall.O_NONBLOCK, 0)
			return err == nil
		})
		if fd <= 0 {
			return
		}
		f := os.NewFile(uintptr(fd), path)
		t.Cleanup(func() { f.Close() })
		fill(f)
	}
}

func holding(s string) func(io.Writer) {
	return func(w io.Writer) { _, _ = io.WriteString(w, s) }
}

// mute is a server that takes connections and never answers.
func mute(t *testing.T) (addr string, working func(<-chan struct{})) {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { l.Close() })
	taken := make(chan struct{})
	go func() {
		for n := 0; ; n++ {
			c, err := l.Accept()
			if err != nil {
				return
			}
			defer c.Close()
			if n == 0 {
				close(taken)
			}
		}
	}()
	return l.Addr().String(), func(done <-chan struct{}) {
		select {
		case <-taken:
		case <-done:
		case <-time.After(patience):
			t.Fatal("nobody connects")
		}
	}
}

// appears waits until something is in a folder.
func appears(t *testing.T, folder string) func(<-chan struct{}) {
	return func(done <-chan struct{}) {
		awaits(t, "something in "+folder, done, func() bool { list, _ := os.ReadDir(folder); return len(list) > 0 })
	}
}

// endless are the commands, each with what keeps it at work.
func endless(t *testing.T) map[string]func() trial {
	small := write(t, "small.yaml", oneStation)
	withConfig := func(args ...string) func() trial {
		return func() trial {
			path, working := pipe(t, "plant.yaml", holding("version: 1\n"))
			return trial{args: append(args, "--config", path), working: working, code: exitInterrupted}
		}
	}
	said := func(args ...string) func() trial {
		return func() trial {
			addr, working := mute(t)
			return trial{args: append(args, "--who", "Ada", "--url", "http://"+addr), working: working, code: exitInterrupted}
		}
	}
	asked := func(args ...string) func() trial {
		return func() trial {
			addr, working := mute(t)
			return trial{args: append(args, "--url", "http://"+addr), working: working, code: exitInterrupted}
		}
	}
	const secret = "nine grey stones by water"
	users := func(input string, args ...string) func() trial {
		return func() trial {
			path := filepath.Join(t.TempDir(), "users.yaml")
			err := access.Change(path, func(l *access.List) error {
				l.Users = append(l.Users, access.User{Name: "ana", Role: access.Viewer})
				token, _ := access.NewToken(access.Token{Name: "scrape", Role: access.Viewer, Created: time.Now(), Expires: time.Now().Add(time.Hour)})
				l.Tokens = append(l.Tokens, token)
				return nil
			})
			if err != nil {
				t.Fatal(err)
			}
			return trial{args: append(args, "--users", path), input: input}
		}
	}
	trail := func(args ...string) func() trial {
		return func() trial {
			path, working := pipe(t, app.TrailFile, holding(""))
			return trial{args: append(args, "--data", filepath.Dir(path)), working: working, code: exitInterrupted}
		}
	}
	const station, alarm = "northdock/press-4", "outlet-leak"
	return map[string]func() trial{
		"user add":      users(secret, "user", "add", "ben", "--role", "viewer"),
		"user role":     users("", "user", "role", "ana", "operator"),
		"user password": users(secret, "user", "password", "ana"),
		"user pin":      users("83620491", "user", "pin", "ana"),
		"user remove":   users("", "user", "remove", "ana"),
		"user list":     users("", "user", "list"),
		"token add":     users("", "token", "add", "export"),
		"token list":    users("", "token", "list"),
		"token revoke":  users("", "token", "revoke", "scrape"),
		"audit verify":  trail("audit", "verify"),
		"audit export":  trail("audit", "export"),

		"run":             withConfig("run"),
		"check":           withConfig("check"),
		"reanalyse":       withConfig("reanalyse"),
		"alarms backtest": withConfig("alarms", "backtest"),
		"trends":          withConfig("trends"),
		"export":          withConfig("export", "--from", "2026-01-01T00:00:00Z", "--format", "csv", "-o", "-"),
		"demo": func() trial {
			return trial{args: []string{"demo", "--data", t.TempDir(), "--listen", "127.0.0.1:0", "--no-past"}, working: func(<-chan struct{}) {}, code: exitOK}
		},
		"replay": func() trial {
			n := 0
			path, working := pipe(t, "endless.csv", func(w io.Writer) { // as much as is read until the interrupt
				var b bytes.Buffer
				b.WriteString("time,inlet_pressure\n")
				for i := range 200_000 {
					fmt.Fprintf(&b, "%d.%02d,600\n", 1767225600+i/100, i%100)
				}
				for b.Len() > 0 {
					k, err := w.Write(b.Next(4096))
					if n += k; err != nil && !errors.Is(err, syscall.EAGAIN) {
						return
					}
					time.Sleep(time.Millisecond)
				}
			})
			return trial{args: []string{"replay", "--config", small, path}, working: working, code: exitInterrupted}
		},
		"alarms test": func() trial {
			path, working := pipe(t, "rules.yaml", holding("scripts:\n"))
			return trial{args: []string{"alarms", "test", path}, working: working, code: exitInterrupted}
		},
		"payload try": func() trial {
			path, working := pipe(t, "message", holding("6"))
			cfg := write(t, "plant.yaml", "version: 1\nmqtt: { broker: tcp://127.0.0.1:1, topics: [{ match: \"boost/{site}/{station}/{channel}\" }] }\ndata: "+t.TempDir()+
				"\nsites: [{ id: northdock, zone: Europe/Lisbon }]\n"+oneStation)
			return trial{args: []string{"payload", "try", "--config", cfg, "--topic", "boost/northdock/press-4/inlet_pressure", path}, working: working, code: exitInterrupted}
		},
		"notify test": func() trial {
			addr, working := mute(t)
			cfg := write(t, "plant.yaml", "version: 1\nmqtt: { broker: tcp://127.0.0.1:1, topics: [{ match: \"boost/{site}/{station}/{channel}\" }] }\ndata: "+t.TempDir()+
				"\nsites: [{ id: northdock, zone: Europe/Lisbon }]\nnotify: { webhook: { url: \"http://"+addr+"\" } }\n"+oneStation)
			return trial{args: []string{"notify", "test", "--config", cfg}, working: working, code: exitInterrupted}
		},
		"rig record": func() trial {
			to := t.TempDir()
			return trial{args: []string{"rig", "record", "--station", "press-4", "--for", "744h", "--out", filepath.Join(to, "x.csv.gz")}, working: appears(t, to), empty: to, code: exitInterrupted}
		},
		"rig publish": func() trial {
			addr, working := mute(t)
			return trial{args: []string{"rig", "publish", "--broker", "tcp://" + addr}, working: working, code: exitInterrupted}
		},
		"discover": func() trial {
			addr, working := mute(t)
			return trial{args: []string{"discover", "--broker", "tcp://" + addr, "--for", "24h"}, working: working, code: exitInterrupted}
		},
		"rig fault": func() trial {
			addr, working := mute(t)
			return trial{args: []string{"rig", "fault", "press-4", "outlet-leak", "--broker", "tcp://" + addr}, working: working, code: exitInterrupted}
		},
		"backup": func() trial {
			data, to := locked(t), t.TempDir()
			return trial{args: []string{"backup", "--data", data, "--out", filepath.Join(to, "b.tar.gz")}, working: appears(t, to), empty: to, code: exitInterrupted}
		},
		"restore": func() trial {
			data := t.TempDir()
			return trial{args: []string{"restore", "--data", data, vast(t)}, working: appears(t, data), empty: data, code: exitInterrupted}
		},
		"refused list":         asked("refused", "list"),
		"refused show":         asked("refused", "show", "not-json"),
		"refused take":         said("refused", "take", "not-json"),
		"refused discard":      said("refused", "discard", "not-json"),
		"refused trust":        said("refused", "trust"),
		"alarm acknowledge":    said("alarm", "acknowledge", station, alarm),
		"alarm shelve":         said("alarm", "shelve", station, alarm, "--why", "x"),
		"alarm unshelve":       said("alarm", "unshelve", station, alarm),
		"alarm out-of-service": said("alarm", "out-of-service", station, alarm, "--why", "x"),
		"alarm in-service":     said("alarm", "in-service", station, alarm),
		"alarm close":          said("alarm", "close", station, alarm, "--why", "x", "--cause", "leak"),
		"alarm vented":         said("alarm", "vented", station, "gauge 7"),
		"alarm at-work":        said("alarm", "at-work", station, "--until", "2h", "--why", "x"),
		"alarm work-ended":     said("alarm", "work-ended", station),
		"alarm note":           said("alarm", "note", station, "x"),
		"alarm done":           said("alarm", "done", station, "--what", "hose", "--document", "7"),
		"alarm inspected":      said("alarm", "inspected", station, "x"),
		// what prints and ends: its output is a pipe that nobody reads
		"version":           func() trial { return trial{args: []string{"version"}} },
		"schema":            func() trial { return trial{args: []string{"schema"}} },
		"completion":        func() trial { return trial{args: []string{"completion"}} },
		"man":               func() trial { return trial{args: []string{"man"}} },
		"rig list":          func() trial { return trial{args: []string{"rig", "list"}} },
		"alarms list":       func() trial { return trial{args: []string{"alarms", "list"}} },
		"alarms explain":    func() trial { return trial{args: []string{"alarms", "explain", "outlet-leak"}} },
		"alarms quantities": func() trial { return trial{args: []string{"alarms", "quantities"}} },
	}
}

// locked makes a data folder whose history another process has locked for long.
func locked(t *testing.T) string {
	t.Helper()
	data := t.TempDir()
	path := filepath.Join(data, "history.db")
	s, err := history.Open(path, history.Options{})
	if err == nil {
		err = s.Close()
	}
	if err != nil {
		t.Fatal(err)
	}
	holdLocked(t, path)
	return data
}

// vast makes a backup whose history has a tebibyte, and takes no room.
func vast(t *testing.T) string {
	t.Helper()
	dir := t.TempDir()
	head, err := json.Marshal(map[string]any{"format": 1, "bytes": int64(1) << 40, "sha256": strings.Repeat("0", 64)})
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, "backup.json"), head, 0o600); err != nil {
		t.Fatal(err)
	}
	f, err := os.Create(filepath.Join(dir, "history.db"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if err := f.Truncate(1 << 40); err != nil {
		t.Skipf("no sparse files here: %v", err)
	}
	return dir
}

// leaves lists the subcommands, as they are typed.
func leaves(t *testing.T) (out []string) {
	t.Helper()
	p, err := parser(&commands{}, io.Discard, io.Discard, func() {})
	if err != nil {
		t.Fatal(err)
	}
	var walk func(n *kong.Node, path string)
	walk = func(n *kong.Node, path string) {
		if n.Type == kong.CommandNode {
			path = strings.TrimSpace(path + " " + n.Name)
		}
		below := 0
		for _, c := range n.Children {
			if c.Type == kong.CommandNode {
				below++
				walk(c, path)
			}
		}
		if below == 0 {
			out = append(out, path)
		}
	}
	walk(p.Model.Node, "")
	return out
}

// Every subcommand ends at an interrupt, whatever it waits for, with the exit code that says so, and
// leaves no unfinished file. The list is the program's own: a new one fails here until it has a line.
func TestEveryCommandEndsAtAnInterrupt(t *testing.T) {
	table := endless(t)
	all := leaves(t)
	for name := range table {
		if !slices.Contains(all, name) {
			t.Errorf("there is no command %q any more", name)
		}
	}
	for _, name := range all {
		begin, ok := table[name]
		if !ok {
			t.Errorf("no input without end for the command %q", name)
			continue
		}
		t.Run(name, func(t *testing.T) { interrupted(t, begin()) })
	}
}

func interrupted(t *testing.T, c trial) {
	t.Helper()
	r, w, err := os.Pipe()
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	if _, err := unix.FcntlInt(w.Fd(), unix.F_SETPIPE_SZ, 4096); err != nil {
		t.Logf("the pipe keeps its size: %v", err)
	}
	cmd := exec.Command(os.Args[0], c.args...)
	cmd.Env = append(os.Environ(), childEnv+"=1")
	var said bytes.Buffer
	cmd.Stdout, cmd.Stderr, cmd.Stdin = w, &said, strings.NewReader(c.input)
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	w.Close()
	done := make(chan struct{})
	go func() { _ = cmd.Wait(); close(done) }()
	defer func() { _ = cmd.Process.Kill(); <-done }()
	code := []int{c.code}
	if c.working == nil { // prints: it has ended, or waits for somebody to read on
		c.working, code = func(done <-chan struct{}) {
			awaits(t, "output", done, func() bool {
				n, err := unix.IoctlGetInt(int(r.Fd()), unix.TIOCINQ)
				return err == nil && n > 0
			})
		}, []int{exitOK, exitInterrupted}
	} else if c.code == exitOK { // serves: it says where its pages are
		c.working = func(done <-chan struct{}) {
			awaits(t, "the pages", done, func() bool {
				n, err := unix.IoctlGetInt(int(r.Fd()), unix.TIOCINQ)
				return err == nil && n > 100
			})
		}
	}
	c.working(done)
	began := time.Now()
	if err := cmd.Process.Signal(os.Interrupt); err != nil && !errors.Is(err, os.ErrProcessDone) {
		t.Fatal(err)
	}
	select {
	case <-done:
	case <-time.After(patience):
		t.Fatalf("it does not end: %s", said.String())
	}
	if got := cmd.ProcessState.ExitCode(); !slices.Contains(code, got) {
		t.Errorf("exit code %d, want one of %d: %s", got, code, said.String())
	}
	peak := cmd.ProcessState.SysUsage().(*syscall.Rusage).Maxrss
	t.Logf("ended %s after the interrupt, at most %d MB of memory", time.Since(began).Round(time.Millisecond), peak>>10)
	if c.empty != "" {
		if left, _ := os.ReadDir(c.empty); len(left) > 0 {
			t.Errorf("there is left: %v", left)
		}
	}
}
