package peers

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"fmt"
	"math/big"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// Locked is a Mosquitto that takes nobody without TLS, a client certificate, a user and a password. Users
// do what its access rules allow: reader reads boost/# and writes lights/#, sensors writes boost/#.
type Locked struct {
	*Process
	CA, Cert, Key string            // PEM files: its authority, and a client's certificate and key
	StrangeCA     string            // of an authority that it has nothing to do with
	Passwords     map[string]string // by user
}

const lockedRules = "user reader\ntopic read boost/#\ntopic write lights/#\n\nuser sensors\ntopic write boost/#\n"

// LockedMosquitto starts such a broker, with more lines in its listener.
func LockedMosquitto(t testing.TB, listener ...string) *Locked {
	t.Helper()
	bin, hash := Find(t, "mosquitto"), Find(t, "mosquitto_passwd")
	dir, addr := t.TempDir(), fmt.Sprintf("127.0.0.1:%d", Port(t))
	in := func(name string) string { return filepath.Join(dir, name) }
	l := &Locked{CA: in("ca.pem"), Cert: in("client.pem"), Key: in("client.key"), StrangeCA: in("strange.pem"),
		Passwords: map[string]string{"reader": "what the gauge reads", "sensors": "what the sensor says"}}
	ca := newIssuer(t, l.CA)
	newIssuer(t, l.StrangeCA)
	ca.issue(t, in("server.pem"), in("server.key"), x509.ExtKeyUsageServerAuth)
	ca.issue(t, l.Cert, l.Key, x509.ExtKeyUsageClientAuth)
	keep(t, in("rules"), lockedRules)
	keep(t, in("passwords"), "")
	for user, word := range l.Passwords {
		if out, err := exec.Command(hash, "-b", in("passwords"), user, word).CombinedOutput(); err != nil {
			t.Fatalf("cannot set a password: %v: %s", err, out)
		}
	}
	_, port, _ := net.SplitHostPort(addr)
	conf := []string{
		"listener " + port + " 127.0.0.1", "allow_anonymous false", "password_file " + in("passwords"), "acl_file " + in("rules"),
		"cafile " + l.CA, "certfile " + in("server.pem"), "keyfile " + in("server.key"), "require_certificate true", "log_dest stderr", "log_type error",
	}
	conf = append(conf, listener...) // behind what belongs to its own
	if os.Getuid() == 0 {
		conf = append(conf, "user root")
	}
	keep(t, in("mosquitto.conf"), strings.Join(conf, "\n")+"\n")
	l.Process = Start(t, addr, dir, bin, "-c", in("mosquitto.conf"))
	return l
}

func keep(t testing.TB, path, text string) {
	t.Helper()
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
}

// issuer is an authority of certificates for an hour.
type issuer struct {
	key  *ecdsa.PrivateKey
	cert *x509.Certificate
}

func newIssuer(t testing.TB, file string) *issuer {
	t.Helper()
	i := &issuer{key: newKey(t), cert: &x509.Certificate{SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: filepath.Base(file)}, NotAfter: time.Now().Add(time.Hour),
		IsCA: true, BasicConstraintsValid: true, KeyUsage: x509.KeyUsageCertSign}}
	i.sign(t, i.cert, &i.key.PublicKey, file)
	return i
}

func newKey(t testing.TB) *ecdsa.PrivateKey {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	return key
}

// issue writes a certificate for this machine and its key.
func (i *issuer) issue(t testing.TB, certFile, keyFile string, use x509.ExtKeyUsage) {
	t.Helper()
	key := newKey(t)
	i.sign(t, &x509.Certificate{SerialNumber: big.NewInt(int64(use) + 2), Subject: pkix.Name{CommonName: filepath.Base(certFile)}, NotAfter: time.Now().Add(time.Hour),
		IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)}, ExtKeyUsage: []x509.ExtKeyUsage{use}}, &key.PublicKey, certFile)
	raw, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		t.Fatal(err)
	}
	keep(t, keyFile, string(pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: raw})))
}

func (i *issuer) sign(t testing.TB, c *x509.Certificate, of *ecdsa.PublicKey, file string) {
	t.Helper()
	der, err := x509.CreateCertificate(rand.Reader, c, i.cert, of, i.key)
	if err != nil {
		t.Fatal(err)
	}
	keep(t, file, string(pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der})))
}
