package keep

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"fettle/cmd/internal/desk"
	"fettle/steps/lists"
	"fettle/store"
	"fettle/store/memory"
	"fettle/store/photos"
	"fettle/store/seal"
	"fettle/workflow"
	"fettle/workflow/journal"
)

// ErrNotCarried is returned for a file that no airframe can be imported from.
var ErrNotCarried = errors.New("not an airframe file that can be imported")

// A HeldSeal is a seal that came by other means than the file it is compared with, and
// the key of its signer.
type HeldSeal struct {
	File   string // that the seal is in
	Note   []byte
	Public string
}

// A HeldError is returned for a [HeldSeal] that does not vouch for a file.
type HeldError struct {
	File string // that was to be imported
	Seal string // the file of the seal
	Err  error
}

func (e *HeldError) Error() string {
	text := fmt.Sprintf("%s is not compared with %s: that is", e.File, e.Seal)
	if errors.Is(e.Err, seal.ErrShorter) || errors.Is(e.Err, seal.ErrDiffers) || errors.Is(e.Err, ErrOtherJournal) {
		text = fmt.Sprintf("%s does not match the seal %s:", e.File, e.Seal)
	}
	advice := "check the seal and the key with whoever gave them to you"
	if errors.Is(e.Err, seal.ErrShorter) { // the common case: an export from before the seal
		advice = "ask for an export that was made after that seal"
	}
	return fmt.Sprintf("%s %v; %s", text, e.Err, advice)
}

func (e *HeldError) Unwrap() error { return e.Err }

// Imported says what an import has taken in.
type Imported struct {
	State   *workflow.State
	New     int64     // entries that were added; all of them, unless the airframe was here
	Signers []Signer  // of the seals in the file, which all match it
	Against *Coverage // the seal that was held against it
	Missing []string  // photos that were left out, and why
}

// A Coverage says what a seal covers and who signed it.
type Coverage struct {
	Size   int64  `json:"size"`
	Signer string `json:"signer"`
	Own    bool   `json:"own"` // with the key of this store's owner
}

// A Signer is a key that seals in an imported file were signed with.
type Signer struct {
	Public string `json:"public_key"`
	Seals  int    `json:"seals"`
	Covers int64  `json:"covers"` // the first entries that its newest seal covers
	Own    bool   `json:"own"`    // it is the key of this store's owner
}

// Import takes an airframe from a file that Export wrote, after checking its tree,
// its entries, its seals and everything they refer to; photos may be missing. An
// airframe that is here already is continued if the file begins with exactly what is
// here. Two journals are never merged: any other is refused. Held may be nil.
func (k *Keeper) Import(ctx context.Context, from string, held *HeldSeal) (out Imported, err error) {
	c, err := openCarried(ctx, from)
	if err != nil {
		return out, err
	}
	defer c.close()
	b, err := c.bundle(ctx)
	if err == nil {
		err = k.checkSeals(ctx, b, held, &out)
	}
	if err == nil {
		err = k.tryOut(ctx, b, trialTime+time.Duration(len(b.Records))*time.Millisecond)
	}
	if ctx.Err() != nil {
		return out, ctx.Err()
	}
	if held, ok := errors.AsType[*HeldError](err); ok {
		held.File = from
		return out, held
	}
	if err != nil {
		return out, notCarried(from, err)
	}
	here, err := k.continues(ctx, b)
	if err != nil {
		return out, err
	}
	k.tidy()
	for _, p := range b.Photos {
		if err := k.takePhoto(ctx, c, p); err != nil {
			if ctx.Err() != nil || errors.Is(err, store.ErrFull) || errors.Is(err, store.ErrReadOnly) {
				return out, err
			}
			if errors.Is(err, errChanged) {
				return out, notCarried(from, err)
			}
			if errors.Is(err, errNotInside) {
				err = errors.New("missing from the file")
			}
			if unkept, ok := errors.AsType[*photos.Error](err); ok {
				err = unkept.Err
			}
			if text := fmt.Sprintf("%s: %v", p.Name, err); !lists.Contains(out.Missing, text) {
				out.Missing = append(out.Missing, text)
			}
		}
	}
	err = desk.Again(b.Mark, func(again bool) (err error) {
		if again {
			if here, err = k.continues(ctx, b); err != nil {
				return err
			}
		}
		if out.New = int64(len(b.Records)) - here; out.New == 0 {
			return nil
		}
		return k.Desk.Noted(b.Mark, int64(len(b.Records)), b.settle(ctx, k.Desk.Store, here))
	})
	if err != nil {
		return out, err
	}
	if out.New > 0 {
		ctx = context.WithoutCancel(ctx) // it is recorded, and whoever stops the program now is to hear it
		k.Desk.Wrote(ctx, b.Mark)
	}
	out.State, err = k.Desk.State(ctx, b.Mark)
	return out, err
}

// An advisedError says what to do about it, where asking for a new export is not what helps.
type advisedError struct {
	error
	advice string
}

func (e advisedError) Unwrap() error { return e.error }

// notCarried says why a file is refused and what to do. It cuts what is too long to read:
// an error may quote the file.
func notCarried(from string, err error) error {
	advice := "ask whoever gave it to you for a new export"
	if advised, ok := errors.AsType[advisedError](err); ok {
		advice = advised.advice
	} else if errors.Is(err, journal.ErrUnknownEntry) {
		advice = ofANewer
	}
	const most = 600
	if text := []rune(err.Error()); len(text) > most {
		err = errors.New(string(text[:most]) + "…")
	}
	return fmt.Errorf("%s: %w: %w; %s", from, ErrNotCarried, err, advice)
}

// ofANewer is what to do about a file that a newer program wrote.
const ofANewer = "import it with the fettle that wrote it, or a newer one"

// checkSeals compares a bundle with the seals that it names, and with one that came by
// other means.
func (k *Keeper) checkSeals(ctx context.Context, b Bundle, held *HeldSeal, out *Imported) error {
	entries, err := journal.Naming(b.Records)
	if err != nil {
		return err
	}
	sealed := journal.Any(entries, func(e journal.Entry) bool { return e.Facts.Kind() == journal.Sealed{}.Kind() })
	if !sealed && held == nil {
		return nil
	}
	t := tree{b.Mark, b.Records, seal.HashesOf(b.Records)}
	if held != nil {
		st, err := t.against(held.Note, held.Public)
		if err != nil {
			return &HeldError{Seal: held.File, Err: err}
		}
		own, _ := k.Public("")
		out.Against = &Coverage{st.Head.Size, st.Signer, held.Public == own}
	}
	notes := map[string][]byte{}
	for _, data := range b.Documents {
		notes[store.Digest(data)] = data
	}
	own, _ := k.Public("") // without a key of one's own none of them is
	checked := map[journal.Sealed]bool{}
	for _, e := range entries {
		f, ok := e.Facts.(journal.Sealed)
		if !ok || checked[f] {
			continue
		}
		checked[f] = true
		if err := ctx.Err(); err != nil {
			return err
		}
		if err := t.named(f, notes[f.Note]); err != nil {
			return advisedError{fmt.Errorf("it does not match the seal that its entry %d names, over the first %d entries: %w", e.Position, f.Size, err),
				"ask for a new export, and have a seal sent to you separately"}
		}
		i := slices.IndexFunc(out.Signers, func(s Signer) bool { return s.Public == f.Key })
		if i < 0 {
			i, out.Signers = len(out.Signers), append(out.Signers, Signer{Public: f.Key, Own: f.Key == own})
		}
		out.Signers[i].Seals++
		out.Signers[i].Covers = max(out.Signers[i].Covers, f.Size)
	}
	return nil
}

// The limits of a journal that is imported, beside those of its bytes: what every command
// on it costs must not depend on what somebody packed. A bench has a few jobs open at once.
const (
	mostOpenJobs = 64
	trialTime    = 10 * time.Second // and a millisecond for each entry, some ten times what it takes
)

// tryOut checks that a bundle replays, under its own mark, before it goes into the
// store, because a journal is never deleted from it, and every command replays it anew. It
// returns as soon as ctx ends: the trial has no store but its own, in memory.
func (k *Keeper) tryOut(ctx context.Context, b Bundle, most time.Duration) error {
	limited, stop := context.WithTimeout(ctx, most)
	defer stop()
	trial := &desk.Desk{Store: memory.New(), Now: k.Desk.Now}
	tried := make(chan error, 1)
	go func() {
		defer func() { // what a stranger made must not end the program with its stack
			if fault := recover(); fault != nil {
				tried <- advisedError{fmt.Errorf("working through its journal failed, which is a fault in fettle: %v", fault), "keep the file, and report it"}
			}
		}()
		for _, data := range b.Documents {
			if _, err := trial.Store.Keep(ctx, data); err != nil {
				tried <- err
				return
			}
		}
		state, err := trial.Replay(ctx, b.Mark, b.Records)
		if err == nil {
			if open := len(state.OpenJobs(k.Desk.Now())); open > mostOpenJobs {
				err = advisedError{fmt.Errorf("it has %d jobs open at once; the limit is %d", open, mostOpenJobs), "finish some of them where it is from, and export it again"}
			}
		}
		tried <- err
	}()
	select {
	case err := <-tried:
		if failure, ok := errors.AsType[*store.Error](err); ok {
			err = failure.Err // the file's fault, and not the store's
			if failure.Hint != "" {
				err = advisedError{err, "ask whoever gave it to you for a new export; " + failure.Hint}
			}
		}
		return err
	case <-limited.Done():
		if ctx.Err() != nil {
			return ctx.Err()
		}
		return advisedError{fmt.Errorf("its journal takes more than %v to work through, far more than its %s should; every command would take as long", most, entries(len(b.Records))),
			"discard the file, and ask its sender how it was made"}
	}
}

// continues returns how many records of a bundle the store has. It refuses a bundle that
// does not begin with exactly what the store has.
func (k *Keeper) continues(ctx context.Context, b Bundle) (int64, error) {
	have, err := store.Records(ctx, k.Desk.Store, b.Mark)
	if err != nil {
		return 0, err
	}
	for i, record := range have {
		var text string
		switch {
		case i == len(b.Records):
			text = fmt.Sprintf("this store has all %s of the file and %d more: there is nothing to import", entries(i), len(have)-i)
			return 0, notContinued(b.Mark, text, workflow.Remedy{})
		case !bytes.Equal(record, b.Records[i]):
			text = fmt.Sprintf("this store already has %s with a different history: they differ from entry %d on (here %s, in the file %s); journals are never merged",
				b.Mark, i, sketch(record, i), sketch(b.Records[i], i))
			return 0, notContinued(b.Mark, text, workflow.Remedy{Kind: workflow.ToUseOtherStore})
		}
	}
	return int64(len(have)), nil
}

func notContinued(mark, text string, remedy workflow.Remedy) error {
	return &workflow.Refusal{What: "import of " + mark, Reasons: []workflow.Reason{{Because: workflow.ByState, Text: text, Remedy: remedy}}}
}

// sketch says in short what a record is.
func sketch(record []byte, position int) string {
	entries, err := journal.Decode([][]byte{record}, int64(position))
	if err != nil {
		return "one that cannot be read"
	}
	return fmt.Sprintf("one of %s by %s", entries[0].At.UTC().Format("2006-01-02 15:04:05 UTC"), entries[0].By)
}

// takePhoto keeps a photo from the file.
func (k *Keeper) takePhoto(ctx context.Context, c *carried, p journal.PhotoKept) error {
	data, err := c.named(ctx, photosIn, p.Photo, photos.MaxBytes)
	if err == nil {
		_, err = k.Desk.Photos.Put(ctx, p.Name, data)
	}
	return err
}
