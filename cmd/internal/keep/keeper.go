// Package keep looks after a store as a whole: it copies it and puts a copy in
// its place, says what of it is damaged and saves the rest, carries an airframe
// to another store, and proves that what is kept is what was written.
//
// Proofs and seals are here, and not with the acting, because they are about
// the stored bytes of a journal and not about what these add up to: a journal
// that cannot be replayed is proved all the same. To seal is the one thing that
// adds an entry; the desk does that.
//
// Any kind of store will do that has what [Store] asks for. A journal's entries
// are read with package journal; only an examination and an import replay them.
package keep

import (
	"context"
	"strings"

	"fettle/cmd/internal/desk"
	"fettle/store"
)

// A Store is a store that can be looked after as a whole.
type Store interface {
	store.Store

	// File is the file that the store is in, where its name is a link to it.
	File() string

	// Examine looks at everything in the store and changes nothing. Its error says
	// that nothing of it can be read at all, or is the context's.
	Examine(ctx context.Context) (store.Report, error)

	// Rescue reads a journal as far as it can be read. fault tells why it went no
	// further; where it is nil, the journal is whole.
	Rescue(ctx context.Context, mark string) (records [][]byte, fault error, err error)

	// RescueDocument gives a document of a store that may be damaged.
	RescueDocument(ctx context.Context, digest string) ([]byte, error)

	// Replace puts the store in the file with in the place of this one and keeps
	// this one under the name aside, if there was one to keep. check, which may be
	// nil, sees what is there, and its error ends it.
	Replace(ctx context.Context, with, aside string, check func(store.Reader) error) (kept bool, err error)
}

// A Kind is a kind of store.
type Kind struct {
	// Prefix is what the names of such stores begin with; none where a name is
	// the path of a file.
	Prefix string

	// Open gives the store of that name and does not look at it yet. migrated,
	// which may be nil, is called when the store was brought to the present schema,
	// with where it is kept as it was before.
	Open func(name string, migrated func(from, to int, kept string)) Store

	// Create makes a new store, whole or not at all: fill puts everything in it,
	// and check reads it again before it has its name. A name that is taken is
	// fs.ErrExist.
	Create func(ctx context.Context, name string, fill func(store.Builder) error, check func(store.Store) error) error
}

// Kinds are the kinds of store that a program knows.
type Kinds []Kind

// Of is the kind of the store of that name: of those whose prefix it has, the
// one with the longest.
func (all Kinds) Of(name string) Kind {
	var best Kind
	for _, k := range all {
		if strings.HasPrefix(name, k.Prefix) && (best.Open == nil || len(k.Prefix) > len(best.Prefix)) {
			best = k
		}
	}
	return best
}

func (all Kinds) open(name string) Store { return all.Of(name).Open(name, nil) }

// A Keeper looks after one store.
type Keeper struct {
	Desk    *desk.Desk // of the same store
	Store   Store      // with what its kind can do besides; for what is of the store as a whole
	Path    string     // its name; likewise
	Kinds   Kinds      // of copies; likewise
	KeyPath string     // of the private key that seals are made with
}
