package app

import (
	"fmt"
	"io/fs"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"time"

	"strokewise/cmd/internal/health"
	"strokewise/dashboards/access"
	"strokewise/dashboards/signon"
	"strokewise/dashboards/trail"
	"strokewise/dashboards/web"
)

// Doors say who is let in to the pages, and how. The zero value lets in everybody who reaches them.
type Doors struct {
	UsersFile         string          // "": nobody has a password here
	SignOn            *signon.Options // login at an OpenID Connect provider; nil: none
	Confirm           web.Confirm
	Lasting           access.Lasting
	Proxy             web.Proxy
	OnlyProxies       bool   // whoever comes from elsewhere is turned away
	CertFile, KeyFile string // "": plain http
	Metrics           string // address of a listener of its own; "": with the pages
	MetricsConfig     string // of that listener, in the form of the exporter toolkit
	Profiles          string // path of a socket; "": none
	Audit             []AuditTarget
}

// AuditTarget receives the lines of the audit trail as well.
type AuditTarget struct {
	Name string // of the file that holds how far it has them, behind TrailFile
	trail.Target
}

// doors are what Doors ask for, opened.
type doors struct {
	identity    *web.Identity // nil: nobody logs in
	certificate *certificate  // nil: plain http
	beside      net.Listener  // of the metrics; nil: none of its own
	profiles    net.Listener  // nil: none
	probes      http.Handler  // what is served beside
	trail       *trail.Trail
	forwarders  []*trail.Forwarder
}

// LoginsFile is the file of the data folder in which logins outlast a restart.
const LoginsFile = "logins.json"

func (a *App) openDoors() (err error) {
	o, d := &a.opt.Doors, &a.doors
	if o.CertFile != "" {
		if d.certificate, err = openCertificate(o.CertFile, o.KeyFile, a.log); err != nil {
			return err
		}
	}
	if err := a.openTrail(); err != nil {
		return err
	}
	if err := a.openIdentity(); err != nil {
		return err
	}
	if o.Metrics != "" {
		if d.beside, err = net.Listen("tcp", o.Metrics); err != nil {
			return fmt.Errorf("cannot serve metrics on %s: %w", o.Metrics, err)
		}
		a.onClose(func() { d.beside.Close() })
	}
	if o.Profiles != "" {
		if d.profiles, err = listenSocket(o.Profiles); err != nil {
			return err
		}
		a.onClose(func() { d.profiles.Close() })
	}
	return nil
}

// TrailFile is the file of the data folder that holds what people and scripts asked for.
const TrailFile = "audit.jsonl"

// openTrail opens the trail of what is asked. Its head goes to the log at both ends of a run: whoever
// keeps the log elsewhere can tell whether the trail is still what it was.
func (a *App) openTrail() error {
	t, err := trail.Open(filepath.Join(a.opt.Data, TrailFile), time.Now())
	if err != nil {
		return err
	}
	a.doors.trail = t
	a.log.Info("audit trail", "head", t.Head())
	a.onClose(func() {
		a.log.Info("audit trail", "head", t.Head())
		a.warn("cannot close the audit trail", t.Close())
	})
	for _, to := range a.opt.Doors.Audit {
		a.doors.forwarders = append(a.doors.forwarders, trail.NewForwarder(t, t.Path()+"."+to.Name, to.Target))
	}
	part := a.health.Part("audit", 0).As(health.Beside)
	a.health.Look(func() {
		if err := t.Fault(); err != nil {
			part.Doubtful("what people did is not in the trail: %v", err)
			return
		}
		for i, f := range a.doors.forwarders {
			if err := f.Fault(); err != nil {
				part.Doubtful("what people did waits for %s: %v", a.opt.Doors.Audit[i].Name, err)
				return
			}
		}
		part.Works()
	})
	return nil
}

// openIdentity opens users and logins, where anybody logs in at all.
func (a *App) openIdentity() (err error) {
	o := &a.opt.Doors
	if o.UsersFile == "" && o.SignOn == nil {
		return nil
	}
	id := &web.Identity{Confirm: o.Confirm, Proxy: o.Proxy, OnlyProxies: o.OnlyProxies, Secure: o.CertFile != ""}
	if o.SignOn != nil {
		id.SignOn = signon.New(*o.SignOn)
	}
	if o.UsersFile != "" {
		if id.Users, err = access.OpenDirectory(o.UsersFile); err != nil {
			return err
		}
		id.Users.Changed = func(what []string) {
			_ = a.doors.trail.Append(trail.Entry{At: a.now().Time(), Who: "strokewise", What: "users file changed", Detail: strings.Join(what, "; "), Outcome: "done"}) // part audit says where not
		}
	}
	if id.Sessions, err = access.OpenSessions(filepath.Join(a.opt.Data, LoginsFile), o.Lasting); err != nil {
		return err
	}
	a.doors.identity = id
	part := a.health.Part("logins", 0).As(health.Beside)
	a.health.Look(func() {
		switch {
		case id.Users != nil && id.Users.Fault() != nil:
			part.Doubtful("what the users file held before stays in force: %v", id.Users.Fault())
		case id.Sessions.Fault() != nil:
			part.Doubtful("logins do not outlast a restart: %v", id.Sessions.Fault())
		default:
			part.Works()
		}
	})
	return nil
}

// listenSocket listens at a path, for the program's owner alone.
func listenSocket(path string) (net.Listener, error) {
	if info, err := os.Lstat(path); err == nil && info.Mode().Type() == fs.ModeSocket {
		_ = os.Remove(path) // of a process that was killed; listening fails where it cannot be removed
	}
	l, err := net.Listen("unix", path)
	if err != nil {
		return nil, fmt.Errorf("cannot serve profiles: %w", err)
	}
	if err := os.Chmod(path, 0o600); err != nil {
		l.Close()
		return nil, fmt.Errorf("cannot serve profiles: %w", err)
	}
	return l, nil
}
