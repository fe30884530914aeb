package backup

import (
	"archive/tar"
	"compress/gzip"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
)

// pack writes the files of a backup as a compressed archive, the manifest first.
func pack(ctx context.Context, from, to string, opt *WriteOptions) error {
	f, err := os.OpenFile(to, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return err
	}
	z, _ := gzip.NewWriterLevel(f, gzip.BestSpeed)
	w := tar.NewWriter(z)
	names := []string{manifestName, signName, historyName}
	if opt.Key == nil {
		names = []string{manifestName, historyName}
	}
	for _, name := range names {
		if err := packFile(ctx, w, from, name, opt); err != nil {
			return errors.Join(err, f.Close())
		}
	}
	return errors.Join(w.Close(), z.Close(), f.Sync(), f.Close())
}

func packFile(ctx context.Context, w *tar.Writer, from, name string, opt *WriteOptions) error {
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
	var count func(int64)
	if name == historyName {
		count = opt.progress("packing", info.Size())
	}
	_, err = io.Copy(w, reader{ctx, f, count})
	return err
}

// archive is a compressed backup that is read from its beginning.
type archive struct {
	file *os.File
	size int64 // compressed
	tar  *tar.Reader
}

func openArchive(ctx context.Context, path string) (source, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	info, err := f.Stat()
	if err == nil && !info.Mode().IsRegular() {
		err = fmt.Errorf("it is no regular file")
	}
	if err != nil {
		return nil, errors.Join(err, f.Close())
	}
	z, err := gzip.NewReader(f)
	if err != nil {
		return nil, errors.Join(fmt.Errorf("it is no .tar.gz archive: %w", err), f.Close())
	}
	return &archive{file: f, size: info.Size(), tar: tar.NewReader(reader{ctx, z, nil})}, nil
}

// Close implements source.
func (a *archive) Close() error { return a.file.Close() }

// head implements source.
func (a *archive) head() ([]byte, error) {
	if _, err := a.next(manifestName); err != nil {
		return nil, err
	}
	return readSmall(a.tar, manifestName)
}

// body implements source. The signature, where there is one, stands before the history.
func (a *archive) body(m *Manifest, check func(signature []byte) error) (io.Reader, error) {
	if most := mostRatio*a.size + ratioSpare; m.Bytes > most {
		return nil, fmt.Errorf("%s tells of %d bytes in an archive of %d: no history can be compressed so far, at most %d are believed; a backup as a folder has no such bound", manifestName, m.Bytes, a.size, most)
	}
	var signature []byte
	h, err := a.next(signName, historyName)
	if err == nil && h.Name == signName {
		if signature, err = readSmall(a.tar, signName); err == nil {
			h, err = a.next(historyName)
		}
	}
	if err != nil {
		return nil, err
	}
	if err := check(signature); err != nil {
		return nil, err
	}
	if h.Size != m.Bytes {
		return nil, fmt.Errorf("it is damaged: %s has %d bytes, %s tells of %d", historyName, h.Size, manifestName, m.Bytes)
	}
	return a.tar, nil
}

// next goes to the next file of the archive, which must have one of the names.
func (a *archive) next(names ...string) (*tar.Header, error) {
	h, err := a.tar.Next()
	if err != nil {
		return nil, fmt.Errorf("it is damaged, or no backup of this program: %s is missing: %w", names[0], err)
	}
	for _, name := range names {
		if h.Name == name && h.Typeflag == tar.TypeReg {
			return h, nil
		}
	}
	return nil, fmt.Errorf("it is no backup of this program: it holds %.80q in the place of %s", h.Name, names[0])
}

// folder is a backup that is not compressed.
type folder struct {
	path string
	open *os.File
}

// Close implements source.
func (f *folder) Close() error {
	if f.open == nil {
		return nil
	}
	return f.open.Close()
}

// head implements source.
func (f *folder) head() ([]byte, error) {
	text, err := f.small(manifestName)
	if err != nil {
		return nil, fmt.Errorf("it is no backup of this program: %w", err)
	}
	return text, nil
}

// body implements source.
func (f *folder) body(m *Manifest, check func(signature []byte) error) (io.Reader, error) {
	signature, err := f.small(signName)
	if err != nil && !errors.Is(err, os.ErrNotExist) {
		return nil, err
	}
	if err := check(signature); err != nil {
		return nil, err
	}
	if f.open, err = openRegular(filepath.Join(f.path, historyName)); err != nil {
		return nil, fmt.Errorf("it is not whole: %w", err)
	}
	return f.open, nil
}

// small reads one of the small files.
func (f *folder) small(name string) ([]byte, error) {
	file, err := openRegular(filepath.Join(f.path, name))
	if err != nil {
		return nil, err
	}
	defer file.Close()
	return readSmall(file, name)
}

// openRegular opens a file that is no pipe or device, which may have no end, and no link, which leads out
// of the backup.
func openRegular(path string) (*os.File, error) {
	info, err := os.Lstat(path)
	if err != nil {
		return nil, err
	}
	if !info.Mode().IsRegular() {
		return nil, fmt.Errorf("%q is no regular file", path)
	}
	return os.Open(path)
}
