package bolt

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"

	"go.etcd.io/bbolt"

	"fettle/store/seal"
	"fettle/store/wholefile"
)

// migrate brings an older store to the present schema, in one transaction. It
// first makes every check that could refuse the file, and then keeps a copy beside
// it before anything is written.
func (s *Store) migrate(ctx context.Context, h *handle) error {
	head := h.head
	if err := newWalk(h.file, head).everything(); err != nil {
		return err
	}
	var old int
	var kept string
	err := h.update(ctx, func(tx *bbolt.Tx) (int, error) {
		v, err := newView(tx, newWalk(h.file, head))
		if err != nil {
			return 0, err
		}
		old = v.schema
		if err := addHashes(ctx, tx, v); err != nil {
			return 0, err
		}
		if err := numberSchema(tx); err != nil {
			return 0, err
		}
		kept, err = keepOld(ctx, h.file, head, s.path, old)
		return 0, err
	})
	if err != nil {
		// An unchanged store needs no copy, and the next try makes its own.
		if now, headErr := readHead(h.file); kept != "" && headErr == nil && now == head {
			_ = os.Remove(kept)
		}
		return err
	}
	if s.Migrated != nil {
		s.Migrated(old, schema, kept)
	}
	return nil
}

// addHashes rewrites every journal with the hashes of its tree, as schema 2 wants
// them.
func addHashes(ctx context.Context, tx *bbolt.Tx, v *view) error {
	all, err := v.journals()
	if err != nil {
		return err
	}
	journals := tx.Bucket([]byte(bucketJournals))
	for _, j := range all {
		if err := ctx.Err(); err != nil {
			return err
		}
		records, err := v.readFrom(j.Mark, 0)
		if err != nil {
			return err
		}
		if err := journals.DeleteBucket([]byte(j.Mark)); err != nil {
			return err
		}
		journal, err := journals.CreateBucket([]byte(j.Mark))
		if err != nil {
			return err
		}
		if err := fillJournal(journal, j.Mark, 0, records, seal.HashesOf(records)); err != nil {
			return err
		}
	}
	return nil
}

// keepOld copies the used part of the file to a free name beside it. The file must
// stay locked until it returns.
func keepOld(ctx context.Context, file *os.File, h head, path string, schema int) (name string, err error) {
	for number := 1; ; number++ {
		name = fmt.Sprintf("%s-schema-%d.bak", path, schema)
		if number > 1 {
			name = fmt.Sprintf("%s-%d-schema-%d.bak", path, number, schema)
		}
		err = wholefile.Create(ctx, name, 0o600, func(copy *os.File) error {
			_, err := io.Copy(copy, io.NewSectionReader(file, 0, int64(h.pages*h.pageSize)))
			return err
		})
		if err == nil {
			return name, nil
		}
		if !errors.Is(err, fs.ErrExist) {
			return "", err
		}
	}
}
