package etcd

import (
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"net"
	"net/netip"
	"os"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"

	"fettle/store"
)

// Scheme is what the name of a store on a cluster begins with.
const Scheme = "etcd://"

// Access is how a cluster may be spoken to. The zero Access is for one on this machine that asks
// for nothing.
type Access struct {
	CA        string        // the file of the certificates that the cluster's must be signed by; "": the system's
	Cert, Key string        // the files of the client's own certificate and its key; "": none
	User      string        // "": none
	Password  string        // of the user
	Name      string        // what this bench is called; "": as its host
	Bench     func() string // an ID of it that stays, by which its clock is known; nil: its name
	Plain     []string      // the hosts, by the names in the address, that may be spoken to without TLS
}

// maxShed is how long the name of a shed may be.
const maxShed = 64

// An address is a name of a store, read.
type address struct {
	hosts []string // with their ports
	shed  string
}

func parseAddress(name string) (a address, err error) {
	const form = "an address is " + Scheme + "HOST:PORT,HOST:PORT/SHED"
	rest, ok := strings.CutPrefix(name, Scheme)
	if !ok {
		return a, errors.New(form)
	}
	if strings.ContainsAny(rest, "@?#") {
		return a, fmt.Errorf("there is more in it than hosts and a shed; a user and a password stand below etcd: in the config (%s)", form)
	}
	list, shed, _ := strings.Cut(rest, "/")
	if shed == "" || len(shed) > maxShed || strings.Trim(shed, "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-_.") != "" {
		return a, fmt.Errorf("the name of a shed is of at most %d letters, digits, and the signs - _ . (%s)", maxShed, form)
	}
	a.shed = shed
	for _, host := range strings.Split(list, ",") {
		bare, port, err := net.SplitHostPort(host)
		number, wrong := strconv.ParseUint(port, 10, 16)
		if err != nil || bare == "" || wrong != nil || number == 0 || strings.ContainsFunc(bare, notInHost) {
			return a, fmt.Errorf("%q is not a host with a port from 1 to 65535 (%s)", host, form)
		}
		a.hosts = append(a.hosts, host)
	}
	return a, nil
}

func notInHost(r rune) bool { return r <= ' ' || unicode.IsSpace(r) || unicode.IsControl(r) }

// A setupError is a mistake in an address, or in what the config says of the cluster: nobody was
// asked for anything.
type setupError struct{ error }

func (e setupError) Unwrap() error { return e.error }

// Check says what is wrong with the name of a store, or with the access to it; nil: nothing that is
// seen without asking the cluster. No error has what may be a password.
func Check(name string, access Access) error {
	a, err := parseAddress(name)
	if err == nil {
		_, _, err = a.endpoints(access)
	}
	return err
}

// isLoopback reports whether a host is this machine, without asking anybody for its address.
func isLoopback(host string) bool {
	if host == "localhost" {
		return true
	}
	ip, err := netip.ParseAddr(host)
	return err == nil && ip.IsLoopback()
}

// endpoints are the addresses as the client takes them, and what to encrypt with; nil: nothing.
// Text is plain only where every host is this machine or was named for it, and nothing in the
// access speaks of certificates.
func (a address) endpoints(with Access) ([]string, *tls.Config, error) {
	plain := with.CA == "" && with.Cert == "" && with.Key == ""
	all := true
	for _, host := range a.hosts {
		bare, _, _ := net.SplitHostPort(host)
		plain = plain && (isLoopback(bare) || slices.Contains(with.Plain, bare))
		all = all && isLoopback(bare)
	}
	scheme := "https://"
	var config *tls.Config
	if plain {
		if scheme = "http://"; with.Password != "" && !all {
			return nil, nil, errors.New("a password would go over the network in plain text: give the cluster certificates, and name theirs as ca: below etcd: in the config")
		}
	} else {
		var err error
		if config, err = with.tls(); err != nil {
			return nil, nil, err
		}
	}
	var endpoints []string
	for _, host := range a.hosts {
		endpoints = append(endpoints, scheme+host)
	}
	return endpoints, config, nil
}

func (with Access) tls() (*tls.Config, error) {
	config := &tls.Config{MinVersion: tls.VersionTLS12}
	if (with.Cert == "") != (with.Key == "") {
		return nil, errors.New("cert: and key: below etcd: in the config go together: write cert: FILE and key: FILE")
	}
	if with.CA != "" {
		data, err := os.ReadFile(with.CA)
		if err != nil {
			return nil, fmt.Errorf("reading ca: below etcd: in the config: %w", err)
		}
		config.RootCAs = x509.NewCertPool()
		if !config.RootCAs.AppendCertsFromPEM(data) {
			return nil, fmt.Errorf("%s, which is ca: below etcd: in the config, has no certificate in PEM", with.CA)
		}
	}
	if with.Cert != "" || with.Key != "" {
		own, err := tls.LoadX509KeyPair(with.Cert, with.Key)
		if err != nil {
			return nil, fmt.Errorf("reading cert: and key: below etcd: in the config: %w", err)
		}
		config.Certificates = []tls.Certificate{own}
	}
	return config, nil
}

// Expires is until when this bench's own certificate is good; zero: it has none.
func (s *Store) Expires() time.Time {
	if own, err := tls.LoadX509KeyPair(s.access.Cert, s.access.Key); err == nil && own.Leaf != nil {
		return own.Leaf.NotAfter
	}
	return time.Time{}
}

// errForeignKeys says that there is something in a shed that no fettle wrote.
func errForeignKeys() error {
	return fmt.Errorf("%w: there are other keys in its place", store.ErrForeign)
}
