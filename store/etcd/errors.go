package etcd

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
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
	}
	return &store.Error{Op: op, Path: s.name, Err: err, Hint: hint(op, err)}
}

// knock is how long a member is given to say why it ended a connection.
const knock = 2 * time.Second

// refused is why the cluster cannot be reached. A member that wants a certificate says so only after the
// handshake, and ends the connection: who has written to it meanwhile is told just that it ended. So
// where connections end, one more is made, on which nothing is written.
func (s *Store) refused(err error) error {
	text := err.Error()
	if !strings.Contains(text, "broken pipe") && !strings.Contains(text, "reset by peer") && !strings.Contains(text, "forcibly closed") && !strings.Contains(text, "EOF") ||
		misfit(err) != lookThere && !strings.Contains(text, "server preface: EOF") {
		return err
	}
	_, encrypted, wrong := s.address.endpoints(s.access)
	if wrong != nil || encrypted == nil {
		return err
	}
	encrypted.NextProtos = []string{"h2"}
	ctx, cancel := context.WithTimeout(context.Background(), knock)
	defer cancel()
	for _, host := range s.address.hosts {
		connection, why := (&tls.Dialer{Config: encrypted}).DialContext(ctx, "tcp", host)
		if why == nil {
			until, _ := ctx.Deadline()
			_ = connection.SetReadDeadline(until)
			_, why = connection.Read(make([]byte, 1))
			_ = connection.Close()
		}
		if why = fmt.Errorf("%w: %v", store.ErrAway, why); misfit(why) != lookThere {
			return why
		}
	}
	return err
}

// kind maps an error of the cluster to the store's own error.
func kind(op string, err error) error {
	for _, own := range []error{store.ErrUnknown, errSwept, errCompacted, store.ErrAway, store.ErrDamaged, store.ErrForeign, store.ErrNewer, store.ErrReadOnly} {
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

func hint(op string, err error) string {
	switch {
	case errors.Is(err, store.ErrAway) && op == writing:
		return "nothing was written; " + misfit(err)
	case errors.Is(err, store.ErrAway): // whether anything was written before it is not for a read to say
		return misfit(err)
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
	return "check the address, and etcd: in the config"
}

// misfit is what to do where a cluster cannot be reached: something answers, but in another way
// than the address and the config say, or nobody does.
func misfit(err error) string {
	text := err.Error()
	for _, m := range [...]struct{ has, hint string }{
		{"handshake failed: EOF", "that port may speak no TLS: give the cluster certificates and name theirs as ca:, or, in a network that you trust, list its host below plain:, both below etcd: in the config (fettle help sheds)"},
		{"first record does not look like a TLS", "that port speaks no TLS: is it the one for clients, 2379? Give the cluster certificates and name theirs as ca:, or, in a network that you trust, list its host below plain:, both below etcd: in the config (fettle help sheds)"},
		{"looked like an HTTP/1.1 header", "that is not a port for clients: theirs is 2379, and 2380 is for the members among themselves"},
		{"x509: ", "name the file of the certificates that sign the cluster's as ca: below etcd: in the config, and each machine in the address as its certificate does"},
		{"certificate required", "name this bench's own certificate as cert: and key: below etcd: in the config"},
		{"server preface: EOF", "check the network and the cluster; one that has certificates needs ca: below etcd: in the config"},
	} {
		if strings.Contains(text, m.has) {
			return m.hint
		}
	}
	return lookThere
}

// lookThere is what to do where nothing is known but that nobody answers.
const lookThere = "check the network and the cluster"
