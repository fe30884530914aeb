package samplelog

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"errors"
	"math/big"
	"net"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/nats-io/jwt/v2"
	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nkeys"

	"strokewise/deploy/peers"
)

// locked starts a server with JetStream and whatever locks it.
func locked(t *testing.T, set func(*server.Options)) string {
	t.Helper()
	o := &server.Options{ServerName: "locked", Host: "127.0.0.1", Port: peers.Port(t), NoLog: true, NoSigs: true,
		JetStream: true, StoreDir: t.TempDir(), JetStreamMaxMemory: 64 << 20, JetStreamMaxStore: 1 << 30}
	set(o)
	s, err := server.NewServer(o)
	if err != nil {
		t.Fatal(err)
	}
	s.Start()
	if !s.ReadyForConnections(patience) {
		t.Fatal("the server is not ready")
	}
	t.Cleanup(func() { s.Shutdown(); s.WaitForShutdown() })
	return s.ClientURL()
}

// tries opens a log with a login, writes and reads an entry.
func tries(t *testing.T, url string, l Login) error {
	t.Helper()
	j, err := Open(t.Context(), Options{Dir: t.TempDir(), URL: url, Login: l})
	if err != nil {
		return err
	}
	defer j.Close()
	mustAppend(t, j, 0, 7)
	if got, _ := read(t, j, 0, 0, 1); got[0] != 7 {
		t.Errorf("read %v", got)
	}
	return nil
}

func is(text string) func() (string, error) { return func() (string, error) { return text, nil } }

// file writes a file for its owner only.
func file(t *testing.T, text []byte) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "secret")
	if err := os.WriteFile(path, text, 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

// refused checks that a server lets nobody in without the right login, and that the error says what to do.
func refused(t *testing.T, url string, wrong ...Login) {
	t.Helper()
	for _, l := range append(wrong, Login{}) {
		err := tries(t, url, l)
		if err == nil || !strings.Contains(err.Error(), "log.credentials_file") {
			t.Errorf("a wrong login gives %v", err)
		}
	}
}

func TestLoginByPassword(t *testing.T) {
	url := locked(t, func(o *server.Options) { o.Username, o.Password = "strokewise", "right" })
	if err := tries(t, url, Login{User: "strokewise", Password: is("right")}); err != nil {
		t.Error(err)
	}
	refused(t, url, Login{User: "strokewise", Password: is("wrong")}, Login{User: "strokewise", Password: func() (string, error) { return "", errors.New("no file") }})
}

// What the README names is enough for a login, and keeps it out of the rest.
func TestLoginWithoutFurtherRights(t *testing.T) {
	allow := &server.SubjectPermission{Allow: []string{"plant-a.v1.>", "$KV.plant-a_v1_lease.>", "$KV.plant-a_v1_told.>", "$JS.API.>", "_INBOX.>"}}
	url := locked(t, func(o *server.Options) {
		o.Users = []*server.User{{Username: "strokewise", Password: "right", Permissions: &server.Permissions{Publish: allow, Subscribe: allow}}}
	})
	login := Login{User: "strokewise", Password: is("right")}
	j, err := Open(t.Context(), Options{Dir: t.TempDir(), URL: url, Login: login, Prefix: "plant-a", Keys: []Key{firstKey}})
	if err != nil {
		t.Fatal(err)
	}
	defer j.Close()
	mustAppend(t, j, 0, 7)
	if got, _ := read(t, j, 0, 0, 1); got[0] != 7 {
		t.Errorf("read %v", got)
	}
	if err := j.SetTold(t.Context(), []byte("told")); err != nil {
		t.Error(err)
	}
	if err := j.lease.again(t.Context()); err != nil {
		t.Error(err)
	}
	if err := j.Trim(t.Context(), 0); err != nil {
		t.Error(err)
	}
	if other, err := Open(t.Context(), Options{Dir: t.TempDir(), URL: url, Login: login, LeaseTTL: time.Second}); err == nil {
		other.Close()
		t.Error("the log without a prefix is opened as well")
	}
}

func TestLoginByToken(t *testing.T) {
	url := locked(t, func(o *server.Options) { o.Authorization = "right" })
	if err := tries(t, url, Login{Token: is("right")}); err != nil {
		t.Error(err)
	}
	refused(t, url, Login{Token: is("wrong")})
}

func TestLoginByNKey(t *testing.T) {
	user, public := newKeyPair(t, nkeys.CreateUser)
	url := locked(t, func(o *server.Options) { o.Nkeys = []*server.NkeyUser{{Nkey: public}} })
	other, _ := newKeyPair(t, nkeys.CreateUser)
	if err := tries(t, url, Login{NKeyFile: file(t, seed(t, user))}); err != nil {
		t.Error(err)
	}
	refused(t, url, Login{NKeyFile: file(t, seed(t, other))})
	if err := tries(t, url, Login{NKeyFile: file(t, []byte("no seed"))}); err == nil || !strings.Contains(err.Error(), "log.nkey_file") {
		t.Errorf("a file without a seed gives %v", err)
	}
}

func newKeyPair(t *testing.T, create func() (nkeys.KeyPair, error)) (nkeys.KeyPair, string) {
	t.Helper()
	k, err := create()
	if err != nil {
		t.Fatal(err)
	}
	p, err := k.PublicKey()
	if err != nil {
		t.Fatal(err)
	}
	return k, p
}

func seed(t *testing.T, k nkeys.KeyPair) []byte {
	t.Helper()
	s, err := k.Seed()
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// A credentials file holds a user's JWT, signed by an account, and the user's seed (the server's
// documentation of decentralised authentication).
func TestLoginByCredentials(t *testing.T) {
	operator, operatorKey := newKeyPair(t, nkeys.CreateOperator)
	account, accountKey := newKeyPair(t, nkeys.CreateAccount)
	a := jwt.NewAccountClaims(accountKey)
	a.Limits.JetStreamLimits = jwt.JetStreamLimits{MemoryStorage: jwt.NoLimit, DiskStorage: jwt.NoLimit, Streams: jwt.NoLimit, Consumer: jwt.NoLimit}
	accountJWT, err := a.Encode(operator)
	if err != nil {
		t.Fatal(err)
	}
	system, systemKey := newKeyPair(t, nkeys.CreateAccount)
	_ = system
	systemJWT, err := jwt.NewAccountClaims(systemKey).Encode(operator)
	if err != nil {
		t.Fatal(err)
	}
	url := locked(t, func(o *server.Options) {
		o.TrustedKeys, o.SystemAccount = []string{operatorKey}, systemKey
		r := new(server.MemAccResolver)
		for key, text := range map[string]string{accountKey: accountJWT, systemKey: systemJWT} {
			if err := r.Store(key, text); err != nil {
				t.Fatal(err)
			}
		}
		o.AccountResolver = r
	})
	creds := func(by nkeys.KeyPair) string {
		user, key := newKeyPair(t, nkeys.CreateUser)
		text, err := jwt.NewUserClaims(key).Encode(by)
		if err != nil {
			t.Fatal(err)
		}
		b, err := jwt.FormatUserConfig(text, seed(t, user))
		if err != nil {
			t.Fatal(err)
		}
		return file(t, b)
	}
	if err := tries(t, url, Login{CredentialsFile: creds(account)}); err != nil {
		t.Error(err)
	}
	stranger, _ := newKeyPair(t, nkeys.CreateAccount)
	refused(t, url, Login{CredentialsFile: creds(stranger)})
}

// authority issues certificates for this machine.
type authority struct {
	cert *x509.Certificate
	key  *ecdsa.PrivateKey
}

func newAuthority(t *testing.T) *authority {
	t.Helper()
	a := &authority{}
	a.cert, a.key = issue(t, nil, &x509.Certificate{SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: "authority"}, IsCA: true, BasicConstraintsValid: true, KeyUsage: x509.KeyUsageCertSign})
	return a
}

func issue(t *testing.T, by *authority, c *x509.Certificate) (*x509.Certificate, *ecdsa.PrivateKey) {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	c.NotBefore, c.NotAfter = time.Now().Add(-time.Hour), time.Now().Add(24*time.Hour)
	parent, signer := c, key
	if by != nil {
		parent, signer = by.cert, by.key
	}
	der, err := x509.CreateCertificate(rand.Reader, c, parent, &key.PublicKey, signer)
	if err != nil {
		t.Fatal(err)
	}
	out, err := x509.ParseCertificate(der)
	if err != nil {
		t.Fatal(err)
	}
	return out, key
}

func (a *authority) pair(t *testing.T, usage x509.ExtKeyUsage) tls.Certificate {
	t.Helper()
	c, key := issue(t, a, &x509.Certificate{SerialNumber: big.NewInt(2), Subject: pkix.Name{CommonName: "this machine"}, IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)},
		KeyUsage: x509.KeyUsageDigitalSignature, ExtKeyUsage: []x509.ExtKeyUsage{usage}})
	return tls.Certificate{Certificate: [][]byte{c.Raw}, PrivateKey: key}
}

func (a *authority) pool() *x509.CertPool {
	p := x509.NewCertPool()
	p.AddCert(a.cert)
	return p
}

// The server's certificate is checked against the authority that is named, and the server checks ours.
func TestTLSBothWays(t *testing.T) {
	ours, strange := newAuthority(t), newAuthority(t)
	url := locked(t, func(o *server.Options) {
		o.TLS, o.TLSVerify, o.TLSTimeout = true, true, patience.Seconds()
		o.TLSConfig = &tls.Config{Certificates: []tls.Certificate{ours.pair(t, x509.ExtKeyUsageServerAuth)}, ClientCAs: ours.pool(), ClientAuth: tls.RequireAndVerifyClientCert, MinVersion: tls.VersionTLS12}
	})
	url = strings.Replace(url, "nats://", "tls://", 1)
	config := func(trusts *authority, pairs ...tls.Certificate) Login {
		return Login{TLS: &tls.Config{MinVersion: tls.VersionTLS12, RootCAs: trusts.pool(), Certificates: pairs}}
	}
	if err := tries(t, url, config(ours, ours.pair(t, x509.ExtKeyUsageClientAuth))); err != nil {
		t.Error(err)
	}
	err := tries(t, url, config(strange, ours.pair(t, x509.ExtKeyUsageClientAuth)))
	if err == nil || !strings.Contains(err.Error(), "log.tls.ca_file") {
		t.Errorf("a server that is not known gives %v", err)
	}
	for name, l := range map[string]Login{"no certificate": config(ours), "a stranger's": config(ours, strange.pair(t, x509.ExtKeyUsageClientAuth))} {
		if err := tries(t, url, l); err == nil {
			t.Errorf("%s: let in", name)
		} else {
			t.Logf("%s: %v", name, err)
		}
	}
}
