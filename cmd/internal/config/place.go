package config

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
)

// Where a secret is, besides a file: env:NAME is a variable of the environment, credential:NAME what
// systemd has put into $CREDENTIALS_DIRECTORY (systemd.exec(5), LoadCredential=).
const (
	envPlace        = "env:"
	credentialPlace = "credential:"
	credentialsEnv  = "CREDENTIALS_DIRECTORY"
)

// textSecrets are the keys whose secret is a text that we read ourselves, so that it can be in the
// environment as well; what libraries read is in files.
var textSecrets = map[string]bool{"password_file": true, "token_file": true, "header_file": true, "mac_key_file": true, "sign_key_file": true, "client_secret_file": true}

// secretKeys are the keys of files that nobody else should read.
var secretKeys = map[string]bool{"password_file": true, "token_file": true, "header_file": true, "mac_key_file": true, "sign_key_file": true, "client_secret_file": true,
	"key_file": true, "backup_key_file": true, "credentials_file": true, "nkey_file": true, "users_file": true}

// credential finds the file of a credential of systemd.
func (m *mapping) credential(key, name string, into *string) bool {
	const expected = "the name of a credential, as in LoadCredential= of the service"
	dir := os.Getenv(credentialsEnv)
	switch {
	case name == "" || name != filepath.Base(name) || name == ".." || name == ".":
		m.failValue(key, quote(name)+" is no name of a credential", expected, credentialPlace+"mqtt.password")
	case dir == "" && !m.d.opt.NoBroker:
		m.failValue(key, "names a credential, but systemd has passed none: $"+credentialsEnv+" is not set", expected+"; or a path", credentialPlace+"mqtt.password")
	default:
		*into = filepath.Join(dir, name)
		return true
	}
	return false
}

func readableEnv(name string) error {
	if os.Getenv(name) == "" {
		return fmt.Errorf("the environment has no variable %s, or it is empty", quote(name))
	}
	return nil
}

// secretEnv returns a secret of the environment.
func secretEnv(name string) (Secret, error) {
	text := strings.TrimRight(os.Getenv(name), "\r\n")
	switch {
	case text == "":
		return Secret{}, fmt.Errorf("cannot read secret: the environment has no variable %s, or it is empty", quote(name))
	case len(text) > maxSecret:
		return Secret{}, fmt.Errorf("cannot read secret: the variable %s has more than %d bytes", quote(name), maxSecret)
	}
	return NewSecret(text), nil
}

// warnWritable warns of a configuration that every user of the machine may change, and of a data
// folder that others may look into.
func (d *decoder) warnWritable() {
	if d.opt.NoBroker {
		return
	}
	if info, err := os.Stat(d.file); err == nil && info.Mode().Perm()&0o002 != 0 {
		d.warn(nil, "", fmt.Sprintf("may be changed by every user of this machine (mode %#o): who can do that decides who is told of alarms", info.Mode().Perm()), "mode 0640 or 0600", "")
	}
	if info, err := os.Stat(d.cfg.Data); err == nil && info.IsDir() && info.Mode().Perm()&0o077 != 0 {
		d.warn(nil, "data", fmt.Sprintf("%s may be looked into by others (mode %#o); the next start closes it", quote(d.cfg.Data), info.Mode().Perm()), "mode 0700", "")
	}
}
