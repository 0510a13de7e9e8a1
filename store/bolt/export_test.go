package bolt

import (
	"context"
	"os"
	"time"
)

// AppendTimed is Append, and tells for how long it held the lock: from the first
// look at the journal, when the file's head and schema had been read under the
// lock, until it was given back.
func (s *Store) AppendTimed(ctx context.Context, mark string, size int64, records [][]byte) (time.Duration, error) {
	var begun time.Time
	err := s.write(ctx, func(v *view) (change, error) {
		begun = time.Now()
		return planAppend(v, mark, size, records)
	})
	return time.Since(begun), err
}

// CheckPages looks at every page of a file that is not being written to.
func CheckPages(path string) error {
	file, err := os.Open(path)
	if err != nil {
		return err
	}
	defer file.Close()
	head, err := readHead(file)
	if err != nil {
		return err
	}
	return checkPages(file, head)
}
