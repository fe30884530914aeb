package main

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"

	"golang.org/x/term"

	"strokewise/dashboards/access"
)

// stdin is where passwords come from that nobody types. Tests put others in its place.
var stdin io.Reader = os.Stdin

// newPassword asks for a new password of a user.
func newPassword(e *env, user string) (access.Hash, error) {
	return newSecret(e, "password", func(s string) error { return access.CheckPassword(user, s) })
}

// newSecret asks for a new password or PIN: twice at a terminal, without echo, else one line of the
// standard input.
func newSecret(e *env, what string, check func(string) error) (access.Hash, error) {
	text, typed, err := readSecret(e, "New "+what)
	if err != nil {
		return "", err
	}
	if err := check(text); err != nil {
		return "", err
	}
	if typed {
		again, _, err := readSecret(e, "Again")
		if err != nil {
			return "", err
		}
		if again != text {
			return "", fmt.Errorf("the two are not the same: nothing is changed")
		}
	}
	return access.NewHash(text, access.Usual), nil
}

// readSecret reads a secret, and reports whether somebody typed it.
func readSecret(e *env, what string) (text string, typed bool, err error) {
	f, ok := stdin.(*os.File)
	if !ok || !term.IsTerminal(int(f.Fd())) {
		line, err := bufio.NewReader(io.LimitReader(stdin, 4096)).ReadString('\n')
		if err != nil && !errors.Is(err, io.EOF) {
			return "", false, fmt.Errorf("cannot read the secret from the standard input: %w", err)
		}
		return strings.TrimRight(line, "\r\n"), false, nil
	}
	fmt.Fprintf(e.err, "%s: ", what)
	b, err := term.ReadPassword(int(f.Fd()))
	fmt.Fprintln(e.err)
	if err != nil {
		return "", true, fmt.Errorf("cannot read the secret: %w", err)
	}
	return string(b), true, nil
}
