package backup

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"path/filepath"
)

// Bounds of what is restored.
const (
	mostSmall = 1 << 20 // bytes of manifest and signature
	// mostRatio is how far an archive is believed to be compressed (our own choice: a history whose
	// minutes are all alike is compressed 14 times), beside ratioSpare.
	mostRatio  = 100
	ratioSpare = 16 << 20
)

// source is a backup that is read, in one of its forms.
type source interface {
	// head returns the manifest.
	head() ([]byte, error)
	// body returns the history, once its size is believed and its signature is checked.
	body(m *Manifest, check func(signature []byte) error) (io.Reader, error)
	Close() error
}

// openSource opens a backup at its beginning.
func openSource(ctx context.Context, path string) (source, error) {
	info, err := os.Stat(path)
	if err != nil {
		return nil, err
	}
	if info.IsDir() {
		return &folder{path: path}, nil
	}
	return openArchive(ctx, path)
}

// unpack puts the history of a backup into a folder. It is read twice: nothing is written before
// its size, its signature and its digest are those that the manifest tells.
func unpack(ctx context.Context, from, into string, opt *RestoreOptions) (Manifest, error) {
	m, err := through(ctx, from, opt, "checking", io.Discard)
	if err != nil {
		return m, err
	}
	if err := room(into, m.Bytes, opt); err != nil {
		return m, err
	}
	f, err := os.OpenFile(filepath.Join(into, historyName), os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return m, err
	}
	m, err = through(ctx, from, opt, "unpacking", f)
	if e := f.Sync(); err == nil {
		err = e
	}
	if e := f.Close(); err == nil {
		err = e
	}
	return m, err
}

// through copies the history's bytes, as many as the manifest tells, and checks them.
func through(ctx context.Context, from string, opt *RestoreOptions, stage string, to io.Writer) (m Manifest, err error) {
	s, err := openSource(ctx, from)
	if err != nil {
		return m, err
	}
	defer s.Close()
	text, err := s.head()
	if err != nil {
		return m, err
	}
	if m, err = readManifest(text); err != nil {
		return m, err
	}
	body, err := s.body(&m, func(signature []byte) error { return opt.Key.check(text, signature) })
	if err != nil {
		return m, err
	}
	h := sha256.New()
	r := reader{ctx, body, progressOf(opt.Progress, stage, m.Bytes)}
	n, err := io.Copy(io.MultiWriter(h, to), io.LimitReader(r, m.Bytes+1))
	switch sum := hex.EncodeToString(h.Sum(nil)); {
	case err != nil:
		return m, fmt.Errorf("cannot unpack %s: %w", historyName, err)
	case n != m.Bytes:
		return m, fmt.Errorf("it is damaged: %s has %d bytes or more, %s tells of %d", historyName, n, manifestName, m.Bytes)
	case sum != m.SHA256:
		return m, fmt.Errorf("it is damaged: the SHA-256 of %s is %s, %s tells of %.64s", historyName, sum, manifestName, m.SHA256)
	}
	return m, nil
}

// readSmall reads a small file whole.
func readSmall(r io.Reader, name string) ([]byte, error) {
	text, err := io.ReadAll(io.LimitReader(r, mostSmall+1))
	if err == nil && len(text) > mostSmall {
		err = fmt.Errorf("it has more than %d bytes", mostSmall)
	}
	if err != nil {
		return nil, fmt.Errorf("%s is damaged: %w", name, err)
	}
	return text, nil
}

func readManifest(text []byte) (Manifest, error) {
	var m Manifest
	if err := json.NewDecoder(bytes.NewReader(text)).Decode(&m); err != nil {
		return m, fmt.Errorf("%s is damaged: %w", manifestName, err)
	}
	if m.Format != format {
		return m, fmt.Errorf("it has format %d, made by version %q, and this program knows format %d: restore it with that version", m.Format, m.Program, format)
	}
	if m.Bytes < 0 {
		return m, fmt.Errorf("%s is damaged: it tells of %d bytes", manifestName, m.Bytes)
	}
	return m, nil
}

// room returns an error where the disk has too little room for the history and what is written
// while it is brought up to date.
func room(into string, bytes int64, opt *RestoreOptions) error {
	free, err := opt.freeOf(into)
	if err != nil {
		return fmt.Errorf("cannot ask how much room there is: %w", err)
	}
	if need := bytes + bytes/4 + 64<<20; free < need {
		return fmt.Errorf("the disk of the data folder has %d MB free, and %d MB are needed: make room", free>>20, need>>20)
	}
	return nil
}
