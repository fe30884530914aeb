package peers

import (
	"fmt"
	"os"
	"path/filepath"
	"testing"
)

// Alertmanager starts an Alertmanager that resolves what it was not sent for some seconds,
// and notifies nobody.
func Alertmanager(t testing.TB, resolveSeconds int) *Process {
	t.Helper()
	bin := Find(t, "prometheus-alertmanager")
	dir, addr := t.TempDir(), fmt.Sprintf("127.0.0.1:%d", Port(t))
	conf := fmt.Sprintf("global: {resolve_timeout: %ds}\nroute: {receiver: nobody, group_by: [site, alertname], group_wait: 1s, group_interval: 1s}\nreceivers: [{name: nobody}]\n", resolveSeconds)
	path := filepath.Join(dir, "alertmanager.yml")
	if err := os.WriteFile(path, []byte(conf), 0o600); err != nil {
		t.Fatal(err)
	}
	return Start(t, addr, dir, bin, "--config.file="+path, "--storage.path="+filepath.Join(dir, "data"),
		"--web.listen-address="+addr, "--cluster.listen-address=", "--log.level=error")
}
