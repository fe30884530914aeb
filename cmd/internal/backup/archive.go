package backup

import (
	"archive/tar"
	"compress/gzip"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
)

// pack writes the files of a backup as a compressed archive, the manifest first.
func pack(ctx context.Context, from, to string) error {
	f, err := os.OpenFile(to, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return err
	}
	z, _ := gzip.NewWriterLevel(f, gzip.BestSpeed)
	w := tar.NewWriter(z)
	for _, name := range [...]string{manifestName, historyName} {
		if err := packFile(ctx, w, from, name); err != nil {
			return errors.Join(err, f.Close())
		}
	}
	return errors.Join(w.Close(), z.Close(), f.Sync(), f.Close())
}

func packFile(ctx context.Context, w *tar.Writer, from, name string) error {
	f, err := os.Open(filepath.Join(from, name))
	if err != nil {
		return err
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return err
	}
	if err := w.WriteHeader(&tar.Header{Name: name, Mode: 0o600, Size: info.Size(), ModTime: info.ModTime(), Format: tar.FormatPAX}); err != nil {
		return err
	}
	_, err = io.Copy(w, reader{ctx, f})
	return err
}

// unpack puts the history of a backup, a folder or an archive, into a folder and checks
// it against its manifest.
func unpack(ctx context.Context, from, into string) (Manifest, error) {
	info, err := os.Stat(from)
	if err != nil {
		return Manifest{}, err
	}
	if info.IsDir() {
		return unpackFolder(ctx, from, into)
	}
	f, err := os.Open(from)
	if err != nil {
		return Manifest{}, err
	}
	defer f.Close()
	z, err := gzip.NewReader(f)
	if err != nil {
		return Manifest{}, fmt.Errorf("it is no .tar.gz archive: %w", err)
	}
	r := tar.NewReader(reader{ctx, z})
	head, err := next(r, manifestName)
	if err != nil {
		return Manifest{}, err
	}
	m, err := readManifest(head)
	if err != nil {
		return m, err
	}
	body, err := next(r, historyName)
	if err != nil {
		return m, err
	}
	if err := take(body, into, &m); err != nil {
		return m, err
	}
	return m, verify(ctx, into, &m)
}

// next gives the next file of an archive, which must have that name.
func next(r *tar.Reader, name string) (io.Reader, error) {
	h, err := r.Next()
	if err != nil {
		return nil, fmt.Errorf("it is damaged, or no backup of this program: %s is missing: %w", name, err)
	}
	if h.Name != name || h.Typeflag != tar.TypeReg {
		return nil, fmt.Errorf("it is no backup of this program: it holds %q in the place of %s", h.Name, name)
	}
	return r, nil
}

func unpackFolder(ctx context.Context, from, into string) (Manifest, error) {
	head, err := os.Open(filepath.Join(from, manifestName))
	if err != nil {
		return Manifest{}, fmt.Errorf("it is no backup of this program: %w", err)
	}
	defer head.Close()
	m, err := readManifest(head)
	if err != nil {
		return m, err
	}
	body, err := os.Open(filepath.Join(from, historyName))
	if err != nil {
		return m, fmt.Errorf("it is not whole: %w", err)
	}
	defer body.Close()
	if err := take(reader{ctx, body}, into, &m); err != nil {
		return m, err
	}
	return m, verify(ctx, into, &m)
}

func readManifest(r io.Reader) (Manifest, error) {
	var m Manifest
	if err := json.NewDecoder(io.LimitReader(r, 1<<20)).Decode(&m); err != nil {
		return m, fmt.Errorf("%s is damaged: %w", manifestName, err)
	}
	if m.Format != format {
		return m, fmt.Errorf("it has format %d, made by version %q, and this program knows format %d: restore it with that version", m.Format, m.Program, format)
	}
	return m, nil
}

// take copies the history's bytes, as many as the manifest tells.
func take(from io.Reader, into string, m *Manifest) error {
	f, err := os.OpenFile(filepath.Join(into, historyName), os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o640)
	if err != nil {
		return err
	}
	n, err := io.Copy(f, io.LimitReader(from, m.Bytes+1))
	if err = errors.Join(err, f.Sync(), f.Close()); err != nil {
		return fmt.Errorf("cannot unpack %s: %w", historyName, err)
	}
	if n != m.Bytes {
		return fmt.Errorf("it is damaged: %s has %d bytes or more, %s tells of %d", historyName, n, manifestName, m.Bytes)
	}
	return nil
}

func verify(ctx context.Context, into string, m *Manifest) error {
	_, sum, err := digest(ctx, filepath.Join(into, historyName))
	if err != nil {
		return err
	}
	if sum != m.SHA256 {
		return fmt.Errorf("it is damaged: the SHA-256 of %s is %s, %s tells of %s", historyName, sum, manifestName, m.SHA256)
	}
	return nil
}
