package etcd

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"io"
	"net"
	"strings"
	"time"

	"go.etcd.io/etcd/api/v3/v3rpc/rpctypes"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"fettle/store"
)

// What was being done, in the words of an error.
const (
	reading = "read"
	writing = "write"
)

// What can be wrong beside the errors of package store.
var (
	errSwept     = errors.New("it took so long that others took its writer for dead")
	errCompacted = errors.New("it took so long that the cluster no longer has what was being read")
)

func damaged(text string, values ...any) error {
	return fmt.Errorf("%w: %s", store.ErrDamaged, fmt.Sprintf(text, values...))
}

// fail returns a failure as a [*store.Error]; errors that are the caller's own stay as they are.
func (s *Store) fail(op string, err error) error {
	var failure *store.Error
	switch {
	case err == nil, errors.As(err, &failure), errors.Is(err, store.ErrConflict), errors.Is(err, store.ErrNotFound),
		err == context.Canceled, err == context.DeadlineExceeded:
		return err
	}
	if err = kind(op, err); errors.Is(err, store.ErrAway) {
		err = s.refused(err)
	} else if !errors.Is(err, store.ErrUnknown) && s.misfit(err.Error()) != "" { // it may have been done all the same
		err = fmt.Errorf("%w: %s", store.ErrSetup, plain(err))
	}
	return &store.Error{Op: op, Path: s.name, Err: err, Hint: s.hint(op, err)}
}

// knock is how long a member is given to say how it is spoken to.
const knock = 2 * time.Second

// refused is why the cluster cannot be reached, which is [store.ErrSetup] where it can be, but not as
// the config says. Of a connection that ended it is only known that it did: so one more is made,
// where a member wants a certificate, or none, and says so.
func (s *Store) refused(err error) error {
	text := strings.TrimPrefix(err.Error(), store.ErrAway.Error()+": ")
	ended := false
	for _, sign := range []string{"broken pipe", "reset by peer", "forcibly closed", "EOF"} {
		ended = ended || strings.Contains(text, sign)
	}
	if ended {
		if why := s.knocked(); why != "" {
			text = why
		}
	}
	if s.misfit(text) == "" {
		return err
	}
	return fmt.Errorf("%w: %s", store.ErrSetup, text)
}

// What a member that was knocked at showed of itself.
const (
	plainAlone = "it does not speak TLS"
	tlsAlone   = "it speaks TLS alone"
	notClients = "looked like an HTTP/1.1 header"
)

// knocked is why members end connections, as far as one more connection shows it; "": it does not.
func (s *Store) knocked() string {
	_, encrypted, wrong := s.address.endpoints(s.access)
	if wrong != nil {
		return ""
	}
	ctx, cancel := context.WithTimeout(context.Background(), knock)
	defer cancel()
	as := encrypted
	if encrypted == nil { // it is only asked whether it speaks TLS: nothing is sent
		as = &tls.Config{InsecureSkipVerify: true}
	}
	as.NextProtos = []string{"h2"}
	for _, host := range s.address.hosts {
		connection, why := (&tls.Dialer{Config: as}).DialContext(ctx, "tcp", host)
		if why == nil {
			until, _ := ctx.Deadline()
			_ = connection.SetReadDeadline(until)
			if encrypted != nil {
				_, why = connection.Read(make([]byte, 1))
			}
			_ = connection.Close()
		}
		switch {
		case encrypted == nil && (why == nil || strings.Contains(why.Error(), "remote error: tls")):
			return tlsAlone
		case encrypted == nil:
		case why != nil && s.misfit(why.Error()) != "":
			return why.Error()
		case speaksPlain(ctx, host):
			return plainAlone
		}
	}
	return ""
}

// speaksPlain reports whether a member answers the beginning of HTTP/2 without TLS.
func speaksPlain(ctx context.Context, host string) bool {
	connection, err := (&net.Dialer{}).DialContext(ctx, "tcp", host)
	if err != nil {
		return false
	}
	defer connection.Close()
	until, _ := ctx.Deadline()
	_ = connection.SetDeadline(until)
	const settings = 4 // the type of the frame that each side begins with
	frame := [9]byte{3: settings}
	if _, err := connection.Write(append([]byte("PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n"), frame[:]...)); err != nil {
		return false
	}
	_, err = io.ReadFull(connection, frame[:])
	return err == nil && frame[3] == settings
}

// kind maps an error of the cluster to the store's own error.
func kind(op string, err error) error {
	for _, own := range []error{store.ErrUnknown, errSwept, errCompacted, store.ErrAway, store.ErrSetup, store.ErrDamaged, store.ErrForeign, store.ErrNewer, store.ErrReadOnly} {
		if errors.Is(err, own) {
			return err
		}
	}
	switch rpctypes.Error(err) {
	case rpctypes.ErrNoSpace:
		return fmt.Errorf("%w: %w", store.ErrFull, err)
	case rpctypes.ErrCompacted:
		return errCompacted
	case rpctypes.ErrCorrupt:
		return fmt.Errorf("%w: %w", store.ErrDamaged, err)
	case rpctypes.ErrPermissionDenied:
		if op == writing {
			return fmt.Errorf("%w: %w", store.ErrReadOnly, err)
		}
	}
	if isAway(err) {
		return fmt.Errorf("%w: %s", store.ErrAway, plain(err))
	}
	return err
}

// isAway reports whether the cluster gave no answer, so that what it was asked to do may or may
// not have been done.
func isAway(err error) bool {
	if errors.As(err, new(setupError)) {
		return false
	}
	if errors.Is(err, context.DeadlineExceeded) || errors.Is(err, context.Canceled) {
		return true
	}
	code := status.Code(err)
	var own rpctypes.EtcdError
	if errors.As(err, &own) {
		code = own.Code()
	}
	switch code {
	case codes.Unavailable, codes.DeadlineExceeded, codes.Canceled, codes.Aborted, codes.Internal, codes.Unknown:
		return true
	}
	return false
}

// plain is what an error says, without the names that the network's library gives it.
func plain(err error) string {
	if errors.Is(err, context.DeadlineExceeded) {
		return "no answer in time"
	}
	if s, ok := status.FromError(err); ok {
		text := strings.TrimPrefix(s.Message(), `connection error: desc = "`)
		return strings.TrimSuffix(strings.TrimPrefix(strings.TrimPrefix(text, "transport: "), "Error while dialing: "), `"`)
	}
	return err.Error()
}

func (s *Store) hint(op string, err error) string {
	switch {
	case errors.Is(err, store.ErrSetup):
		return s.misfit(err.Error())
	case errors.Is(err, store.ErrAway) && expired(err.Error()):
		return "renew the certificates of the cluster, or set the clock here"
	case errors.Is(err, store.ErrAway) && op == writing:
		return "nothing was written; " + lookThere
	case errors.Is(err, store.ErrAway): // whether anything was written before it is not for a read to say
		return lookThere
	case errors.Is(err, store.ErrUnknown): // what is to be done depends on what it was
		return lookThere
	case errors.Is(err, errSwept), errors.Is(err, errCompacted):
		return "try again"
	case errors.Is(err, store.ErrDamaged):
		return "leave it as it is and continue with its newest good copy"
	case errors.Is(err, store.ErrForeign):
		return "name another shed"
	case errors.Is(err, store.ErrNewer):
		return "use the fettle that wrote it, or a newer one"
	case errors.Is(err, store.ErrReadOnly):
		return "the user in the config may not write here: whoever looks after the cluster can grant it"
	case errors.Is(err, store.ErrFull):
		return "nothing was written: whoever looks after the cluster compacts and defragments it, or raises its quota"
	}
	if strings.Contains(err.Error(), rpctypes.ErrPermissionDenied.Error()) {
		return "the user that this bench is to the cluster may not read that shed: is it the name of yours? Whoever looks after the cluster can grant it"
	}
	return "check the address, and etcd: in the config"
}

// misfit is what to do where something answers, but in another way than the address and the config
// say; "": nothing is known to be wrong with them.
func (s *Store) misfit(text string) string {
	const noTLS = "is that the port for clients, 2379? Give the cluster certificates and name theirs as ca:, or, in a network that you trust, list its host below plain:, both below etcd: in the config (fettle help sheds)"
	if expired(text) {
		return ""
	}
	for _, m := range [...]struct{ has, hint string }{
		{plainAlone, noTLS},
		{"first record does not look like a TLS", noTLS},
		{tlsAlone, "name the file of the certificates that sign the cluster's as ca: below etcd: in the config, and list no host of it below plain: (fettle help sheds)"},
		{notClients, "that is not a port for clients: theirs is 2379, and 2380 is for the members among themselves"},
		{"x509: ", "name the file of the certificates that sign the cluster's as ca: below etcd: in the config, and each machine in the address as its certificate does"},
		{"remote error: tls: unknown certificate", otherCert},
		{"remote error: tls: bad certificate", otherCert},
		{"remote error: tls: expired certificate", s.expiredCert()},
		{"certificate required", "name this bench's own certificate as cert: and key: below etcd: in the config"},
		{rpctypes.ErrAuthFailed.Error(), "write the user: and the password: that the cluster knows below etcd: in the config"},
		{"password was given for no password user", "the cluster has no password for that user: leave out user: and password: below etcd: in the config, and name the certificate of that user as cert: and key:"},
		{rpctypes.ErrUserEmpty.Error(), "name this bench's own certificate as cert: and key:, or user: and password:, below etcd: in the config: the cluster asks who it is"},
	} {
		if !strings.Contains(text, m.has) {
			continue
		}
		if s.access.Cert != "" && m.has == "certificate required" { // it is only sent where it may do
			return otherCert
		}
		return m.hint
	}
	return ""
}

const otherCert = "the cluster does not take the certificate that is cert: below etcd: in the config: name one that is signed by the authority that it trusts"

// expiredCert is what to do where the cluster says that this bench's own certificate has expired: one of the
// two goes by a wrong clock, or it has.
func (s *Store) expiredCert() string {
	until := s.Expires()
	if until.IsZero() {
		return otherCert
	}
	text := "this bench's own certificate, " + s.access.Cert + ", was good until " + until.Local().Format("2 Jan 2006 15:04")
	if until.After(time.Now()) {
		return strings.Replace(text, "was", "is", 1) + " by the clock here: have the clocks of the cluster set, or this one"
	}
	return text + ": name a new one as cert: and key: below etcd: in the config"
}

// expired reports whether a certificate of the cluster is out of its time. That is no mistake of the config.
func expired(text string) bool { return strings.Contains(text, "has expired or is not yet valid") }

// lookThere is what to do where nothing is known but that nobody answers.
const lookThere = "check the network and the cluster"
