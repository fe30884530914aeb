package main

import (
	"bytes"
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"strokewise/deploy/peers"
)

// The commands of README's first station, run as they stand there in a folder of their own. Different are only: the program is the one
// that this test belongs to, and broker and pages listen on free ports.
func TestTheFirstStationOfReadme(t *testing.T) {
	peers.Find(t, "mosquitto_pub")
	text, err := os.ReadFile("../../README.md")
	if err != nil {
		t.Fatal(err)
	}
	_, section, _ := strings.Cut(string(text), "<!-- first station: a test runs what follows -->")
	var blocks []string
	for _, b := range strings.Split(section, "```sh\n")[1:] {
		commands, _, _ := strings.Cut(b, "```")
		blocks = append(blocks, commands)
	}
	const build = "go build -o strokewise ./cmd/strokewise\n"
	if len(blocks) != 4 || !strings.HasPrefix(blocks[0], build) {
		t.Fatalf("README has other commands than this test knows: %q", blocks)
	}
	dir := t.TempDir()
	program := fmt.Sprintf("#!/bin/sh\n%s=1 exec %s \"$@\"\n", childEnv, selfPath())
	if err := os.WriteFile(filepath.Join(dir, "strokewise"), []byte(program), 0o700); err != nil {
		t.Fatal(err)
	}
	broker := peers.Mosquitto(t)
	_, port, _ := net.SplitHostPort(broker.Addr)
	pages := fmt.Sprintf("127.0.0.1:%d", peers.Port(t))
	ports := strings.NewReplacer(build, "", ":1883", ":"+port, "version: 1\n", "version: 1\nhttp: { listen: \""+pages+"\" }\n",
		"mosquitto_pub ", "mosquitto_pub -p "+port+" ", "rig publish ", "rig publish --broker tcp://"+broker.Addr+" ")
	shell := func(i int) *exec.Cmd {
		cmd := exec.Command("bash", "-e", "-c", ports.Replace(blocks[i]))
		cmd.Dir = dir
		return cmd
	}
	// behind keeps a command running until the test ends; bash replaces itself by a last command of its own.
	behind := func(i int) *child {
		c := &child{t: t, cmd: shell(i), addr: pages, done: make(chan struct{})}
		c.cmd.Stdout, c.cmd.Stderr = c, c
		if err := c.cmd.Start(); err != nil {
			t.Fatal(err)
		}
		go func() { c.cmd.Wait(); close(c.done) }()
		t.Cleanup(c.kill)
		return c
	}

	out, err := shell(0).CombinedOutput()
	if err != nil || !bytes.Contains(out, []byte("no fault found; 1 site, 1 station\n")) || !strings.Contains(section, "no fault found; 1 site, 1 station") {
		t.Fatalf("check: %v: %s", err, out)
	}
	run := behind(1)
	run.ready()
	if out, err := shell(2).CombinedOutput(); err != nil {
		t.Fatalf("mosquitto_pub: %v: %s", err, out)
	}
	run.await("the reading of README", "/", func(b string) bool { return strings.Contains(inWords(b), "Inlet 612 kPa gauge") })
	rig := behind(3)
	run.await("strokes", "/metrics", func(b string) bool {
		n, _ := metric(b, "strokewise_strokes_total")
		return n >= 2
	})
	if !strings.Contains(rig.said(), "publishing 1 virtual station ") {
		t.Errorf("rig publish says: %s", rig.said())
	}
}

// inWords is the text of a page, its elements taken out.
func inWords(page string) string {
	var text strings.Builder
	for _, part := range strings.Split(page, "<") {
		_, after, _ := strings.Cut(part, ">")
		text.WriteString(" " + after)
	}
	return strings.Join(strings.Fields(text.String()), " ")
}
