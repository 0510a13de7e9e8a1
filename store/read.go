package store

import "context"

// Journals returns the journals of a store at one moment.
func Journals(ctx context.Context, s Store) (all []Journal, err error) {
	err = s.View(ctx, func(r Reader) error {
		all, err = r.Journals()
		return err
	})
	return all, err
}

// Records returns the records of a journal, none if there is no such journal.
func Records(ctx context.Context, s Store, mark string) (records [][]byte, err error) {
	err = s.View(ctx, func(r Reader) error {
		records, err = r.Read(mark, 0)
		return err
	})
	return records, err
}
