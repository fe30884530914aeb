package backup

import (
	"archive/tar"
	"compress/gzip"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// A backup whose files are links, or that holds anything but our three files, is refused: nothing outside
// of it is read, nothing outside of the data folder is written.
func TestLinksAndOtherNamesAreRefused(t *testing.T) {
	data, s := dataFolder(t)
	whole := filepath.Join(t.TempDir(), "b")
	if _, err := Write(t.Context(), data, whole, WriteOptions{}); err != nil {
		t.Fatal(err)
	}
	s.Close()
	for _, name := range []string{manifestName, historyName} {
		dir := t.TempDir()
		for _, f := range []string{manifestName, historyName} {
			var err error
			if from := filepath.Join(whole, f); f == name {
				err = os.Symlink(from, filepath.Join(dir, f))
			} else {
				err = os.Link(from, filepath.Join(dir, f))
			}
			if err != nil {
				t.Fatal(err)
			}
		}
		into := t.TempDir()
		if _, err := Restore(t.Context(), dir, into, RestoreOptions{}); err == nil || !strings.Contains(err.Error(), "no regular file") {
			t.Errorf("%s is a link: %v", name, err)
		}
		empty(t, into)
	}
	for name, h := range map[string]tar.Header{
		"a link":        {Name: manifestName, Typeflag: tar.TypeSymlink, Linkname: "/etc/passwd"},
		"a hard link":   {Name: manifestName, Typeflag: tar.TypeLink, Linkname: "../../etc/passwd"},
		"a way out":     {Name: "../" + manifestName, Typeflag: tar.TypeReg},
		"from the root": {Name: "/etc/cron.d/x", Typeflag: tar.TypeReg},
		"a device":      {Name: manifestName, Typeflag: tar.TypeChar},
		"a folder":      {Name: manifestName + "/", Typeflag: tar.TypeDir},
	} {
		path := filepath.Join(t.TempDir(), "b.tar.gz")
		f, err := os.Create(path)
		if err != nil {
			t.Fatal(err)
		}
		z := gzip.NewWriter(f)
		w := tar.NewWriter(z)
		if err := w.WriteHeader(&h); err != nil {
			t.Fatal(err)
		}
		w.Close()
		z.Close()
		f.Close()
		into := t.TempDir()
		if _, err := Restore(t.Context(), path, into, RestoreOptions{}); err == nil || !strings.Contains(err.Error(), "no backup of this program") {
			t.Errorf("%s: %v", name, err)
		}
		empty(t, into)
	}
}

func empty(t *testing.T, dir string) {
	t.Helper()
	if left, err := os.ReadDir(dir); err != nil || len(left) != 0 {
		t.Errorf("the folder holds %v, %v", left, err)
	}
}

// FuzzArchive: whatever is given as an archive or a manifest, it is restored as ours or refused, and the data
// folder stays empty where it is refused.
func FuzzArchive(f *testing.F) {
	f.Add([]byte(`{"format":1,"bytes":4096,"sha256":""}`), []byte("SQLite format 3\x00"), true)
	f.Add([]byte(`{"format":1,"bytes":-1}`), []byte(nil), true)
	f.Add([]byte("\x1f\x8b\x08\x00"), []byte(nil), false)
	f.Fuzz(func(t *testing.T, manifest, body []byte, packed bool) {
		dir := t.TempDir()
		path, into := filepath.Join(dir, "b.tar.gz"), filepath.Join(dir, "data")
		if packed {
			packedAs(t, path, manifest, body)
		} else if err := os.WriteFile(path, append(manifest, body...), 0o600); err != nil {
			t.Fatal(err)
		}
		if err := os.Mkdir(into, 0o700); err != nil {
			t.Fatal(err)
		}
		if _, err := Restore(t.Context(), path, into, RestoreOptions{}); err != nil {
			if left, _ := os.ReadDir(into); len(left) != 0 {
				t.Errorf("refused (%v), and the folder holds %v", err, left)
			}
		}
	})
}

func packedAs(t *testing.T, path string, manifest, body []byte) {
	t.Helper()
	f, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	z := gzip.NewWriter(f)
	w := tar.NewWriter(z)
	for _, x := range []struct {
		name string
		text []byte
	}{{manifestName, manifest}, {historyName, body}} {
		if err := w.WriteHeader(&tar.Header{Name: x.name, Size: int64(len(x.text)), Mode: 0o600, Typeflag: tar.TypeReg}); err != nil {
			t.Fatal(err)
		}
		if _, err := w.Write(x.text); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	z.Close()
	f.Close()
}
