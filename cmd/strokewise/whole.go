package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
)

// writeWhole writes a file that appears only when it is whole; after an interrupt or an error nothing
// of it is left. What is written to is named by what.
func writeWhole(e *env, what, path string, fill func(io.Writer) error) error {
	if info, err := os.Stat(path); err == nil && !info.Mode().IsRegular() {
		return fillInto(e, what, path, fill) // a pipe or a device takes what comes
	}
	f, err := os.CreateTemp(filepath.Dir(path), ".strokewise-*")
	if err != nil {
		return fmt.Errorf("cannot write %s: %w", what, err)
	}
	defer e.end.unfinished(f.Name())()
	err = fill(stopped{e.ctx, f})
	if err == nil {
		err = f.Chmod(0o644 &^ umask())
	}
	if err = errors.Join(err, f.Close()); err == nil {
		err = os.Rename(f.Name(), path)
	}
	if err != nil {
		_ = os.Remove(f.Name())
		return wrote(e, what, err)
	}
	return nil
}

func fillInto(e *env, what, path string, fill func(io.Writer) error) error {
	f, err := os.OpenFile(path, os.O_WRONLY, 0)
	if err != nil {
		return fmt.Errorf("cannot write %s: %w", what, err)
	}
	return wrote(e, what, errors.Join(fill(stopped{e.ctx, f}), f.Close()))
}

func wrote(e *env, what string, err error) error {
	switch {
	case err == nil:
		return nil
	case e.ctx.Err() != nil:
		return e.ctx.Err()
	}
	return fmt.Errorf("cannot write %s: %w", what, err)
}

// stopped is a writer that ends with its context.
type stopped struct {
	ctx context.Context
	io.Writer
}

func (s stopped) Write(p []byte) (int, error) {
	if err := s.ctx.Err(); err != nil {
		return 0, err
	}
	return s.Writer.Write(p)
}
