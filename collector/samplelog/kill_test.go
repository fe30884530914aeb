package samplelog

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"strconv"
	"testing"
	"time"
)

const childEnv = "STROKEWISE_TEST_APPEND_TO"

// child appends to the log in the folder that the environment names and prints each
// accepted position, until it is killed.
func child() bool {
	if node := os.Getenv(nodeEnv); node != "" {
		serveNode(node)
		return true
	}
	dir := os.Getenv(childEnv)
	if dir == "" {
		return false
	}
	j, err := Open(context.Background(), Options{Dir: dir})
	if err != nil {
		fmt.Println(err)
		return true
	}
	for i := 0; ; i++ {
		p, err := j.Append(context.Background(), 0, tick(i))
		if err != nil {
			fmt.Println(err)
			return true
		}
		fmt.Println(p)
	}
}

// What Append has accepted is there after kill -9.
func TestAcceptedEntriesSurviveAKill(t *testing.T) {
	dir := t.TempDir()
	var accepted uint64
	for range 5 {
		cmd := exec.Command(os.Args[0])
		cmd.Env = append(os.Environ(), childEnv+"="+dir)
		out, err := cmd.StdoutPipe()
		if err != nil {
			t.Fatal(err)
		}
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		s := bufio.NewScanner(out)
		if !s.Scan() {
			t.Fatal("the child said nothing")
		}
		note := func() {
			p, err := strconv.ParseUint(s.Text(), 10, 64)
			if err != nil {
				t.Fatalf("the child said: %s", s.Text())
			}
			accepted = max(accepted, p)
		}
		note()
		timer := time.AfterFunc(time.Duration(20+rand.IntN(150))*time.Millisecond, func() { cmd.Process.Kill() })
		for s.Scan() {
			if s.Text() != "" {
				note()
			}
		}
		timer.Stop()
		cmd.Wait()
	}
	j, err := Open(t.Context(), Options{Dir: dir})
	if err != nil {
		t.Fatal(err)
	}
	defer j.Close()
	next := uint64(1)
	ctx, cancel := context.WithTimeout(t.Context(), patience)
	defer cancel()
	err = j.Read(ctx, 0, 0, func(e Entry) error {
		if e.Position != next {
			return fmt.Errorf("position %d is missing", next)
		}
		next++
		if next > accepted {
			return errEnough
		}
		return nil
	})
	if !errors.Is(err, errEnough) {
		t.Fatalf("%d accepted, read up to %d: %v", accepted, next-1, err)
	}
	t.Logf("%d entries accepted over 5 kills, all there", accepted)
}
