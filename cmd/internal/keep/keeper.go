// Package keep works on a store as a whole: it makes backups and restores them,
// examines a damaged store and saves what is left, moves an airframe to another
// store, and proves that the store holds what was written.
//
// Proofs and seals are here and not in package desk, because they are about the
// stored bytes of a journal and not about their meaning: a journal that cannot be
// replayed can still be proved. An import adds records as they are; a seal adds an
// entry, through the desk.
//
// Any kind of store will do that implements [Store]. A journal's entries
// are read with package journal; only what needs their meaning replays them.
package keep

import (
	"context"
	"strings"
	"time"

	"fettle/cmd/internal/desk"
	"fettle/store"
	"fettle/store/photos"
)

// A Store is a store that can be copied, examined and replaced.
type Store interface {
	store.Store

	// File is the file of the store, with links resolved. Of a store that is not in a file
	// it is the name beside which lies what belongs to it here; "": nothing does.
	File() string

	// Examine looks at everything in the store and changes nothing. Its error is
	// the context's, or says that nothing in the store can be read.
	Examine(ctx context.Context) (store.Report, error)

	// Rescue reads a journal as far as possible. fault says why it stopped; nil:
	// the journal is complete.
	Rescue(ctx context.Context, mark string) (records [][]byte, fault error, err error)

	// RescueDocument reads a document from a store that may be damaged.
	RescueDocument(ctx context.Context, digest string) ([]byte, error)

	// Replace replaces this store by the one in the file with, and keeps this one
	// under the name aside, if it exists. check, which may be nil, reads this store
	// first; its error stops the replacement.
	Replace(ctx context.Context, with, aside string, check func(store.Reader) error) (kept bool, err error)
}

// A Remote is a store elsewhere that may be away.
type Remote interface {
	store.Distant

	// Recall has it show what was last seen of it while it is away, and call tell with when that
	// was, and why it is away.
	Recall(tell func(asOf time.Time, why error))

	// Waits has it call tell when it takes long to answer, and once it has.
	Waits(tell func(waiting bool))

	// Tell has it call say with what whoever uses it is to hear.
	Tell(say func(text string))

	// Expires is until when the certificate is good by which this bench may speak to it; zero: it has
	// none.
	Expires() time.Time

	// Shares is the folder in which the benches that share the store have its photos: it must be
	// there before one is kept; "": each bench has its own.
	Shares() string
}

// A Kind is a kind of store.
type Kind struct {
	// Prefix is what the names of such stores begin with; "": a name is the path
	// of a file.
	Prefix string

	// With is the kind for a program whose config says this of clusters. It may be nil.
	With func(Cluster) Kind

	// Check says what is wrong with such a name, or with what the config says of clusters; nil:
	// nothing is known to be. It may be nil.
	Check func(name string) error

	// Open returns the store of that name without reading it yet. migrated, which
	// may be nil, is called after the store was migrated to the present schema; kept
	// is the name of the original.
	Open func(name string, migrated func(from, to int, kept string)) Store

	// Create makes a new store, complete or not at all: fill puts everything in it,
	// and check reads it back before it gets its name. If the name exists, the error
	// is fs.ErrExist.
	Create func(ctx context.Context, name string, fill func(store.Builder) error, check func(store.Store) error) error
}

// A Cluster is what the config says of stores on clusters. Of files and folders it has whole
// paths.
type Cluster struct {
	CA       string   `yaml:"ca"`       // the certificates that sign those of the members
	Cert     string   `yaml:"cert"`     // the certificate of this bench,
	Key      string   `yaml:"key"`      // and its key
	User     string   `yaml:"user"`     // of the cluster
	Password string   `yaml:"password"` // the user's
	Plain    []string `yaml:"plain"`    // hosts that are spoken to in plain text
	Bench    string   `yaml:"bench"`    // what this bench is called; "": as the machine
	Photos   string   `yaml:"photos"`   // the folder in which each store has its folder of photos
	Own      bool     `yaml:"-"`        // Photos is a place of this bench alone, which is made where it lacks
	Cache    string   `yaml:"-"`        // the folder for what was last seen of them; "": nowhere
}

// Said are the names and values of what the config says, without the password; none where it
// says nothing of clusters, and photos lie where they do without it.
func (c Cluster) Said() (all [][2]string) {
	password := ""
	if c.Password != "" {
		password = "(not shown)"
	}
	for _, s := range [][2]string{{"ca", c.CA}, {"cert", c.Cert}, {"key", c.Key}, {"user", c.User}, {"password", password}, {"plain", strings.Join(c.Plain, ", ")}, {"photos", c.Photos}} {
		if s[1] != "" {
			all = append(all, s)
		}
	}
	if len(all) == 1 && all[0][1] == c.Photos {
		return nil
	}
	return all
}

// Kinds are the kinds of store that a program knows.
type Kinds []Kind

// With are the kinds for a program whose config says this of clusters.
func (all Kinds) With(c Cluster) Kinds {
	told := make(Kinds, len(all))
	for i, k := range all {
		if told[i] = k; k.With != nil {
			told[i] = k.With(c)
		}
	}
	return told
}

// Files reports whether a name is that of a file.
//
//go:noinline
func (all Kinds) Files(name string) bool { return all.Of(name).Prefix == "" }

// Of returns the kind of store for a name: the one with the longest prefix that
// matches.
//
//go:noinline
func (all Kinds) Of(name string) Kind {
	var best Kind
	for _, k := range all {
		if strings.HasPrefix(name, k.Prefix) && (best.Open == nil || len(k.Prefix) > len(best.Prefix)) {
			best = k
		}
	}
	return best
}

// Photos returns the folder of a store's photos: beside the file that holds the store,
// also where the name is a link to it.
func (all Kinds) Photos(name string) photos.Folder {
	if !all.Files(name) {
		s := all.open(name)
		of := photos.Beside(s.File())
		if r, ok := s.(Remote); ok {
			of = of.Within(r.Shares())
		}
		return of
	}
	return photos.Beside(all.open(name).File()).Linked(name)
}

func (all Kinds) open(name string) Store { return all.Of(name).Open(name, nil) }

// A Keeper looks after one store.
type Keeper struct {
	Desk    *desk.Desk // of the same store
	Store   Store      // the same store, for work on the store as a whole
	Path    string     // the store's name
	Kinds   Kinds      // the kinds that copies may have
	KeyPath string     // of the private key for seals
}
