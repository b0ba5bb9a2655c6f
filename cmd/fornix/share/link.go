package share

import (
	"bytes"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/sha256"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/hex"
	"errors"
	"fmt"
	"math/big"
	"net"
	"net/url"
	"strconv"
	"time"
)

// Link is what a worker needs to join: where the queue is, the right to come in, and by what to know
// that it is the one. It is a secret.
type Link struct {
	Address     string
	Token       string
	Certificate string // SHA-256 of the server's certificate, hexadecimal; empty: no TLS, on this machine
}

func newLink() Link { return Link{Token: rand.Text()} }

// String writes a link as one word: fornix://TOKEN@ADDRESS#CERTIFICATE.
func (l Link) String() string {
	u := url.URL{Scheme: "fornix", User: url.User(l.Token), Host: l.Address, Fragment: l.Certificate}
	return u.String()
}

// ParseLink reads a link. One without a certificate leads to this machine only.
func ParseLink(s string) (Link, error) {
	u, err := url.Parse(s)
	if err != nil || u.Scheme != "fornix" || u.User.Username() == "" || u.Port() == "" {
		return Link{}, errors.New("is no link: it looks like fornix://TOKEN@HOST:PORT")
	}
	l := Link{Address: u.Host, Token: u.User.Username(), Certificate: u.Fragment}
	if sum, err := hex.DecodeString(l.Certificate); err != nil || len(sum) != 0 && len(sum) != sha256.Size {
		return Link{}, errors.New("is no whole link: the certificate behind # is cut off")
	}
	if ip := net.ParseIP(u.Hostname()); l.Certificate == "" && (ip == nil || !ip.IsLoopback()) {
		return Link{}, errors.New("names no certificate, without which only this machine is trusted")
	}
	return l, nil
}

// tls checks the server by its certificate alone, which the link names.
func (l Link) tls() *tls.Config {
	want, _ := hex.DecodeString(l.Certificate)
	return &tls.Config{
		MinVersion:         tls.VersionTLS13,
		InsecureSkipVerify: true, // no authority knows it: the link does
		VerifyPeerCertificate: func(raw [][]byte, _ [][]*x509.Certificate) error {
			if len(raw) > 0 {
				if sum := sha256.Sum256(raw[0]); bytes.Equal(sum[:], want) {
					return nil
				}
			}
			return errors.New("the server is not the one that the link names")
		},
	}
}

// certificate makes a certificate for one run and returns its SHA-256.
func certificate() (*tls.Config, string, error) {
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		return nil, "", err
	}
	now := time.Now()
	c := &x509.Certificate{SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: "fornix"}, NotBefore: now.Add(-time.Hour), NotAfter: now.AddDate(1, 0, 0)}
	raw, err := x509.CreateCertificate(rand.Reader, c, c, &key.PublicKey, key)
	if err != nil {
		return nil, "", err
	}
	sum := sha256.Sum256(raw)
	return &tls.Config{MinVersion: tls.VersionTLS13, Certificates: []tls.Certificate{{Certificate: [][]byte{raw}, PrivateKey: key}}}, hex.EncodeToString(sum[:]), nil
}

func splitAddress(address string) (host string, port int, err error) {
	host, text, err := net.SplitHostPort(address)
	if err != nil {
		return "", 0, fmt.Errorf("%s: give HOST:PORT", address)
	}
	if port, err = strconv.Atoi(text); err != nil || port < 0 || port > 65535 {
		return "", 0, fmt.Errorf("%s: no such port", address)
	}
	if host == "localhost" {
		host = "127.0.0.1"
	}
	if port == 0 {
		port = -1 // any free one, for the server
	}
	return host, port, nil
}
