package prometheus

import (
	"fmt"
	"log/slog"
	"net"
	"net/http"

	toolkit "github.com/prometheus/exporter-toolkit/web"
)

// Serve serves metrics on a listener of their own, by the rules of a web configuration file as
// exporters have one: TLS, client certificates, logins. Without a file it serves plain http.
func Serve(l net.Listener, srv *http.Server, configFile string, log *slog.Logger) error {
	if err := toolkit.Validate(configFile); err != nil {
		return fmt.Errorf("cannot use the web configuration of the metrics: %w", err)
	}
	no := false
	return toolkit.Serve(l, srv, &toolkit.FlagConfig{WebListenAddresses: &[]string{l.Addr().String()}, WebSystemdSocket: &no, WebConfigFile: &configFile}, log)
}
