package peers

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// Nginx starts an nginx with the server of a configuration file, in which words are replaced first.
// It listens on addr.
func Nginx(t testing.TB, addr, file string, replace ...string) *Process {
	t.Helper()
	bin := Find(t, "nginx")
	server, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	for i := 0; i+1 < len(replace); i += 2 {
		if !strings.Contains(string(server), replace[i]) {
			t.Fatalf("%s does not say %q", file, replace[i])
		}
	}
	dir := t.TempDir()
	user := ""
	if os.Getuid() == 0 {
		user = "user root;\n" // temporary folders are their owner's
	}
	text := user + fmt.Sprintf("daemon off;\nmaster_process off;\npid %[1]s/pid;\nerror_log stderr error;\nevents {}\nhttp {\naccess_log off;\n"+
		"client_body_temp_path %[1]s/body;\nproxy_temp_path %[1]s/proxy;\nfastcgi_temp_path %[1]s/fastcgi;\nuwsgi_temp_path %[1]s/uwsgi;\nscgi_temp_path %[1]s/scgi;\n", dir) +
		strings.NewReplacer(replace...).Replace(string(server)) + "}\n"
	path := filepath.Join(dir, "nginx.conf")
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return Start(t, addr, dir, bin, "-p", dir, "-c", path)
}
