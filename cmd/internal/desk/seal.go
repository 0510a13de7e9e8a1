package desk

import (
	"context"
	"encoding/base64"
	"errors"
	"fmt"
	"time"

	"fettle/store"
	"fettle/store/seal"
	"fettle/workflow"
)

// keyName is what a key is called that is made on first use.
const keyName = "fettle"

// origin is what a seal calls an airframe's journal.
func origin(mark string) string { return "fettle/" + mark }

// A Seal is a seal that was made, and the key it is checked with.
type Seal struct {
	Note    string // the signed statement
	Public  string // the public key
	Head    seal.Head
	NewKey  bool // the key was made for it
	KeyPath string
}

// Seal signs the present head of a journal and records that it did.
func (d *Desk) Seal(ctx context.Context, mark string) (Seal, *workflow.State, error) {
	state, err := d.State(ctx, mark) // an unknown mark is said as everywhere
	if err != nil {
		return Seal{}, nil, err
	}
	out := Seal{KeyPath: d.KeyPath}
	key, made, err := seal.LoadKey(d.KeyPath, keyName)
	if err != nil {
		return Seal{}, nil, fmt.Errorf("the key of seals, %s: %w", d.KeyPath, err)
	}
	out.Public, out.NewKey = key.Public(), made
	records, err := d.records(ctx, mark)
	if err != nil {
		return Seal{}, nil, err
	}
	out.Head = seal.HeadOf(records[:state.Size()])
	note, err := key.Sign(origin(mark), out.Head)
	if err != nil {
		return Seal{}, nil, err
	}
	out.Note = string(note)
	digest, err := d.Store.Keep(ctx, note)
	if err != nil {
		return Seal{}, nil, err
	}
	sealed := workflow.Sealed{Size: out.Head.Size, Root: base64.StdEncoding.EncodeToString(out.Head.Root[:]), Key: out.Public, Note: digest}
	_, state, err = d.Act(ctx, mark, workflow.RecordSeal{Sealed: sealed}, time.Time{})
	return out, state, err
}

// records are the stored bytes of a journal.
func (d *Desk) records(ctx context.Context, mark string) (records [][]byte, err error) {
	err = d.Store.View(ctx, func(r store.Reader) error {
		records, err = r.Read(mark, 0)
		return err
	})
	return records, err
}

// A Verdict is what was found of a journal's tree, its seals and its photos.
type Verdict struct {
	Head    seal.Head
	Seals   int // that the journal holds and fits still
	Faults  []string
	Photos  int // that are as they were kept
	Missing []string
}

// Prove recomputes the tree of a journal from its stored bytes, holds it
// against every seal that the journal names, and checks the photos.
func (d *Desk) Prove(ctx context.Context, mark string) (Verdict, error) {
	state, err := d.State(ctx, mark)
	if err != nil {
		return Verdict{}, err
	}
	records, err := d.records(ctx, mark)
	if err != nil {
		return Verdict{}, err
	}
	tree := seal.HashesOf(records)
	v := Verdict{}
	if v.Head, err = seal.HeadAt(int64(len(records)), tree); err != nil {
		return Verdict{}, err
	}
	for _, e := range state.Entries {
		switch f := e.Facts.(type) {
		case workflow.Sealed:
			if err := d.proveSeal(ctx, mark, f, int64(len(records)), tree); err != nil {
				v.Faults = append(v.Faults, fmt.Sprintf("the seal of entry %d, over the %d entries before: %v", e.Position, f.Size, err))
			} else {
				v.Seals++
			}
		case workflow.PhotoKept:
			if err := d.Photos.Check(f.Photo); err != nil {
				v.Missing = append(v.Missing, fmt.Sprintf("%s of entry %d: %v", f.Name, e.Position, err))
			} else {
				v.Photos++
			}
		}
	}
	return v, nil
}

// proveSeal holds a journal against one seal that it names.
func (d *Desk) proveSeal(ctx context.Context, mark string, f workflow.Sealed, size int64, tree seal.Hashes) error {
	var note []byte
	err := d.Store.View(ctx, func(r store.Reader) (err error) {
		note, err = r.Document(f.Note)
		return err
	})
	if err != nil {
		return err
	}
	st, err := seal.Open(note, f.Key)
	if err != nil {
		return err
	}
	if st.Origin != origin(mark) {
		return fmt.Errorf("%w: it is of %s", ErrOtherJournal, st.Origin)
	}
	return seal.CheckAgainst(st, size, tree)
}

// Public is the public key to check seals with: the one given, or else one's
// own.
func (d *Desk) Public(given string) (string, error) {
	if given != "" {
		return given, nil
	}
	key, _, err := seal.LoadKey(d.KeyPath, keyName)
	if err != nil {
		return "", fmt.Errorf("the key of seals, %s: %w", d.KeyPath, err)
	}
	return key.Public(), nil
}

// ErrOtherJournal is given for a seal of another airframe.
var ErrOtherJournal = errors.New("the seal is of another journal")

// Against proves that a journal still holds exactly what was sealed. An error
// that is no [*seal.Error] is one of reading.
func (d *Desk) Against(ctx context.Context, mark string, note []byte, public string) (seal.Statement, error) {
	st, err := seal.Open(note, public)
	if err != nil {
		return st, err
	}
	if st.Origin != origin(mark) {
		return st, fmt.Errorf("%w: it is of %s", ErrOtherJournal, st.Origin)
	}
	records, err := d.records(ctx, mark)
	if err != nil {
		return st, err
	}
	return st, seal.CheckAgainst(st, int64(len(records)), seal.HashesOf(records))
}

// Inclusion proves that one entry was in the journal when it was sealed, to
// somebody who has nothing but the proof.
func (d *Desk) Inclusion(ctx context.Context, mark string, entry int64, note []byte) ([]byte, error) {
	state, err := d.State(ctx, mark)
	if err != nil {
		return nil, err
	}
	if entry < 0 || entry >= state.Size() {
		return nil, workflow.UnknownEntry(entry)
	}
	records, err := d.records(ctx, mark)
	if err != nil {
		return nil, err
	}
	proof, err := seal.ProveInclusion(records[entry], entry, note, seal.HashesOf(records))
	if err != nil {
		return nil, err
	}
	return proof.Text(), nil
}

// Seals are the texts of the seals that a journal names, by the entry that
// names each.
func (d *Desk) Seals(ctx context.Context, s *workflow.State) (map[int64]string, error) {
	notes := map[int64]string{}
	err := d.Store.View(ctx, func(r store.Reader) error {
		for _, e := range s.Entries {
			f, ok := e.Facts.(workflow.Sealed)
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
