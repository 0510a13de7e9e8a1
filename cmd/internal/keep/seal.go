package keep

import (
	"context"
	"encoding/base64"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"runtime"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"golang.org/x/mod/sumdb/tlog"

	"fettle/cmd/internal/desk"
	"fettle/steps/lists"
	"fettle/store"
	"fettle/store/seal"
	"fettle/workflow"
	"fettle/workflow/journal"
)

// keyName is the name of a key that is made on first use.
const keyName = "fettle"

// origin is the name of an airframe's journal in a seal.
func origin(mark string) string { return "fettle/" + mark }

// A Seal is a new seal, with the key to check it.
type Seal struct {
	Note    string // the signed statement
	Public  string // the public key
	Head    seal.Head
	NewKey  bool // the key is new
	KeyPath string
}

// Seal signs the present head of an airframe's journal and records that in it.
func (k *Keeper) Seal(ctx context.Context, s *workflow.State) (Seal, *workflow.State, error) {
	mark := s.Airframe.Mark
	t, fault, err := k.tree(ctx, mark)
	if err != nil {
		return Seal{}, nil, err
	}
	if fault != nil {
		return Seal{}, nil, fmt.Errorf("the journal of %s cannot be sealed: %w", mark, fault)
	}
	if t.size() != s.Size() { // somebody wrote to it since: what is sealed and what it is recorded in are to be one
		if s, err = k.Desk.Replay(ctx, mark, t.records); err != nil {
			return Seal{}, nil, err
		}
	}
	out := Seal{KeyPath: k.KeyPath}
	if out.Head, err = seal.HeadAt(t.size(), t.hashes); err != nil {
		return Seal{}, nil, err
	}
	key, made, err := k.key()
	if err != nil {
		return Seal{}, nil, err
	}
	out.Public, out.NewKey = key.Public(), made
	note, err := key.Sign(origin(mark), out.Head)
	if err != nil {
		return Seal{}, nil, err
	}
	out.Note = string(note)
	digest, err := k.Desk.Store.Keep(ctx, note)
	if err != nil {
		return Seal{}, nil, err
	}
	sealed := journal.Sealed{Size: out.Head.Size, Root: base64.StdEncoding.EncodeToString(out.Head.Root[:]), Key: out.Public, Note: digest}
	_, state, err := k.Desk.Act(ctx, s, workflow.RecordSeal{Sealed: sealed}, time.Time{})
	return out, state, err
}

// A tree is a journal with the hashes of its tree.
type tree struct {
	mark    string
	records [][]byte
	hashes  seal.Hashes
}

// tree reads an existing journal and recomputes every hash from the bytes of the
// records. fault names a stored hash that differs.
func (k *Keeper) tree(ctx context.Context, mark string) (t tree, fault, err error) {
	return k.treeAnd(ctx, mark, func(store.Reader, [][]byte) {})
}

// treeAnd is tree, with what else is read of the store as it is at that moment.
func (k *Keeper) treeAnd(ctx context.Context, mark string, also func(r store.Reader, records [][]byte)) (t tree, fault, err error) {
	t.mark = mark
	err = k.Desk.Store.View(ctx, func(r store.Reader) error {
		if t.records, err = r.Read(mark, 0); err != nil {
			return err
		}
		if len(t.records) == 0 {
			return desk.UnknownMark(r, mark)
		}
		indexes := make([]int64, tlog.StoredHashCount(int64(len(t.records))))
		for i := range indexes {
			indexes[i] = int64(i)
		}
		if t.hashes, err = r.Hashes(mark, indexes); err == nil {
			also(r, t.records)
		}
		return err
	})
	if err != nil {
		return t, nil, err
	}
	if _, fault = seal.Verify(t.records, t.hashes); fault != nil {
		t.hashes = seal.HashesOf(t.records)
	}
	return t, fault, nil
}

func (t tree) size() int64 { return int64(len(t.records)) }

// A Verdict is the result of proving a journal's tree, its seals and its photos.
type Verdict struct {
	Mark    string
	Head    seal.Head
	Seals   int      // that the journal names and matches
	Keys    []string // the public keys of those that match, as the journal names them
	Own     string   // one's own public key; "": there is none
	Faults  []string
	Photos  int      // unchanged
	Missing []string // missing or changed, each once
	Unread  bool     // it cannot be read; the fault says why
}

// Prove recomputes the tree of a journal from its stored bytes, compares it with
// the stored hashes and with every seal that the journal names, and checks the
// photos.
func (k *Keeper) Prove(ctx context.Context, mark string) (Verdict, error) {
	v := Verdict{Mark: mark}
	var named []journal.Entry
	var unnamed error
	var shown []journal.PhotoKept
	t, wrong, err := k.treeAnd(ctx, mark, func(r store.Reader, records [][]byte) {
		named, unnamed = journal.Naming(records)
		shown = shownBy(r, named)
	})
	if err != nil {
		return v, err
	}
	fault := func(format string, args ...any) { v.Faults = append(v.Faults, fmt.Sprintf(format, args...)) }
	if wrong != nil {
		fault("%v", wrong)
	}
	if v.Head, err = seal.HeadAt(t.size(), t.hashes); err != nil {
		return v, err
	}
	if unnamed != nil {
		fault("%v", unnamed)
	}
	var missing []lostPhoto
	for _, e := range named {
		switch f := e.Facts.(type) {
		case journal.Sealed:
			if err := k.proveSeal(ctx, f, t); err != nil {
				fault("the seal in entry %d, over the first %d entries: %v", e.Position, f.Size, err)
			} else {
				v.Seals++
				if !lists.Contains(v.Keys, f.Key) {
					v.Keys = append(v.Keys, f.Key)
				}
			}
		case journal.PhotoKept:
			if err := k.Desk.Photos.Check(f.Photo); err != nil {
				i := slices.IndexFunc(missing, func(l lostPhoto) bool { return l.Photo == f.Photo })
				if i < 0 {
					i, missing = len(missing), append(missing, lostPhoto{PhotoKept: f, err: err})
				}
				missing[i].entries = append(missing[i].entries, fmt.Sprintf("%d by %s", e.Position, e.By))
			} else {
				v.Photos++
			}
		}
	}
	for _, p := range shown {
		if err := k.Desk.Photos.Check(p.Photo); err != nil {
			v.Missing = append(v.Missing, fmt.Sprintf("%s, of a step: %v", p.Name, err))
		} else {
			v.Photos++
		}
	}
	if own, err := k.Public(""); err == nil {
		v.Own = own
	}
	for _, l := range missing {
		v.Missing = append(v.Missing, fmt.Sprintf("%s (entry %s): %v", l.Name, strings.Join(l.entries, ", "), l.err))
	}
	return v, nil
}

// shownBy are the pictures of the documents that entries name. A document that is missing
// is said elsewhere.
func shownBy(r store.Reader, entries []journal.Entry) []journal.PhotoKept {
	var documents [][]byte
	for _, digest := range documentsOf(entries) {
		if data, err := r.Document(digest); err == nil {
			documents = append(documents, data)
		}
	}
	return picturesOf(documents)
}

// A lostPhoto is a missing or changed photo, with the entries that name it.
type lostPhoto struct {
	journal.PhotoKept
	entries []string
	err     error
}

// ProveAll proves every journal of the store, on all processors. A journal that
// cannot be read has that as its fault.
func (k *Keeper) ProveAll(ctx context.Context) ([]Verdict, error) {
	if err := k.isThere("prove"); err != nil {
		return nil, err
	}
	journals, err := store.Journals(ctx, k.Desk.Store)
	if err != nil {
		return nil, err
	}
	all := make([]Verdict, len(journals))
	each(len(journals), func(i int) {
		v, err := k.Prove(ctx, journals[i].Mark)
		if err != nil {
			v.Faults, v.Unread = append(v.Faults, err.Error()), true
		}
		all[i] = v
	})
	return all, ctx.Err()
}

// each calls work for 0 to n-1, on all processors.
func each(n int, work func(i int)) {
	var next atomic.Int64
	var workers sync.WaitGroup
	for range min(n, runtime.GOMAXPROCS(0)) {
		workers.Go(func() {
			for i := int(next.Add(1)) - 1; i < n; i = int(next.Add(1)) - 1 {
				work(i)
			}
		})
	}
	workers.Wait()
}

// proveSeal compares a journal with one seal that it names.
func (k *Keeper) proveSeal(ctx context.Context, f journal.Sealed, t tree) error {
	var note []byte
	err := k.Desk.Store.View(ctx, func(r store.Reader) (err error) {
		note, err = r.Document(f.Note)
		return err
	})
	if err != nil {
		return err
	}
	return t.named(f, note)
}

// named compares a journal with a seal that it names.
func (t tree) named(f journal.Sealed, note []byte) error {
	st, err := t.against(note, f.Key)
	if err == nil && (st.Head.Size != f.Size || st.Head.Root.String() != f.Root) {
		err = fmt.Errorf("the seal covers %d entries with root %s", st.Head.Size, st.Head.Root)
	}
	return err
}

// against compares a journal, by its present records, with a seal.
func (t tree) against(note []byte, public string) (seal.Statement, error) {
	st, err := seal.Open(note, public)
	if err != nil {
		return st, err
	}
	if st.Origin != origin(t.mark) {
		return st, fmt.Errorf("%w: %s, not %s", ErrOtherJournal, strings.TrimPrefix(st.Origin, origin("")), t.mark)
	}
	return st, seal.CheckAgainst(st, t.size(), t.hashes)
}

// Public returns the public key to check seals with: the one given, else one's own.
func (k *Keeper) Public(given string) (string, error) {
	if given != "" {
		if err := seal.CheckPublic(given); err != nil {
			return "", fmt.Errorf("--key %.40q is %w; give the public key as seal prints it", given, err)
		}
		return given, nil
	}
	// Do not make a key here: it could not have signed the seal.
	if _, err := os.Stat(k.KeyPath); errors.Is(err, fs.ErrNotExist) {
		return "", ErrNoKey
	}
	key, _, err := k.key()
	if err != nil {
		return "", err
	}
	return key.Public(), nil
}

// key reads the private key, or makes one; made: it is new.
func (k *Keeper) key() (key *seal.Key, made bool, err error) {
	if k.KeyPath == "" {
		return nil, false, errNoPlace
	}
	if key, made, err = seal.LoadKey(k.KeyPath, keyName); err != nil {
		err = fmt.Errorf("the seal key: %w", err)
		if errors.Is(err, seal.ErrKey) {
			err = fmt.Errorf("%w; name the right file with FETTLE_KEY, or move this one away and seal again with a new key", err)
		}
		return nil, false, err
	}
	return key, made, nil
}

var errNoPlace = errors.New("HOME is not set to a whole path, so there is no place for the seal key; set HOME or FETTLE_KEY")

// ErrNoKey is returned if a seal is to be checked with one's own key and there is
// no such key.
var ErrNoKey = errors.New("you have no seal key yet; give the signer's public key with --key KEY")

// ErrOtherJournal is returned for a seal of another airframe.
var ErrOtherJournal = errors.New("the seal is of another airframe")

// Against proves that a journal still holds exactly what was sealed. An error
// other than a [*seal.Error] is a failure to read.
func (k *Keeper) Against(ctx context.Context, mark string, note []byte, public string) (seal.Statement, error) {
	t, _, err := k.tree(ctx, mark)
	if err != nil {
		return seal.Statement{}, err
	}
	return t.against(note, public)
}

// Inclusion makes a proof that one entry was in the journal when it was sealed. It
// can be checked without the journal.
func (k *Keeper) Inclusion(ctx context.Context, mark string, entry int64, note []byte) ([]byte, error) {
	t, _, err := k.tree(ctx, mark)
	if err != nil {
		return nil, err
	}
	if entry < 0 || entry >= t.size() {
		return nil, workflow.UnknownEntry(entry)
	}
	proof, err := seal.ProveInclusion(t.records[entry], entry, note, t.hashes)
	if err != nil {
		return nil, err
	}
	return proof.Text(), nil
}

// Growth makes a proof that the journal under the newer seal began with the one
// under the older seal. It can be checked without the journal.
func (k *Keeper) Growth(ctx context.Context, mark string, older, newer []byte) ([]byte, error) {
	t, _, err := k.tree(ctx, mark)
	if err != nil {
		return nil, err
	}
	proof, err := seal.ProveConsistency(older, newer, t.hashes)
	if err != nil {
		return nil, err
	}
	return proof.Text(), nil
}

// Seals returns the texts of the seals that a journal names, by the entry that
// names each.
func (k *Keeper) Seals(ctx context.Context, s *workflow.State) (map[int64]string, error) {
	notes := map[int64]string{}
	err := k.Desk.Store.View(ctx, func(r store.Reader) error {
		for _, e := range s.Entries {
			f, ok := e.Facts.(journal.Sealed)
			if !ok {
				continue
			}
			note, err := r.Document(f.Note)
			if err != nil {
				return fmt.Errorf("the seal of entry %d: %w", e.Position, err)
			}
			notes[e.Position] = string(note)
		}
		return nil
	})
	return notes, err
}
