package cli

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"slices"

	"fettle/cmd/internal/ics"
	"fettle/cmd/internal/keep"
	"fettle/cmd/internal/page"
	"fettle/store/wholefile"
	"fettle/workflow"
)

// calendar writes what comes on the named airframes, or on all, to a calendar file; "-":
// to the standard output.
func (a *app) calendar(ctx context.Context, marks []string, file string) error {
	now := a.time.Now()
	of, unread := rows(ctx, a, marks, func(s *workflow.State, _ int) []ics.Event { return page.Calendar(s, now) })
	if unread != nil { // a calendar that lacks something takes it away from one that had it
		return unread
	}
	var events []ics.Event
	for _, some := range of {
		events = append(events, some...)
	}
	return a.writeCalendar(ctx, events, marks, file)
}

// writeCalendar writes these events, and those of the file before, of these marks or of all, that come no more.
func (a *app) writeCalendar(ctx context.Context, events []ics.Event, marks []string, file string) error {
	now := a.time.Now()
	var cancelled []ics.Event
	write := wholefile.Create
	if file != "-" && beginsWith(file, "BEGIN:VCALENDAR") {
		write = wholefile.Replace
		before, err := wholefile.Read(file, 4<<20)
		if errors.Is(err, wholefile.ErrTooLarge) {
			err = fmt.Errorf("%w; name a new file", err)
		}
		if err != nil {
			return fmt.Errorf("reading the calendar: %w", err)
		}
		cancelled = page.Cancelled(ics.Read(string(before)), events, marks, now)
	}
	var written bytes.Buffer
	if err := ics.Write(&written, "fettle "+version, now, append(slices.Clone(events), cancelled...)); err != nil {
		return err
	}
	if file == "-" {
		_, err := a.Out.Write(written.Bytes())
		return err
	}
	err := write(ctx, file, 0o644, func(to *os.File) error {
		_, err := to.Write(written.Bytes())
		return err
	})
	if errors.Is(err, fs.ErrExist) {
		return fmt.Errorf("%s is not a calendar: %w", file, keep.ErrExists)
	}
	if err != nil {
		return fmt.Errorf("writing the calendar: %w", err)
	}
	if a.json {
		return nil
	}
	a.say("%s", page.CalendarLine(file, events, cancelled))
	return nil
}

// beginsWith reports whether a file is there, as a file of its own, and begins so.
func beginsWith(name, begin string) bool {
	if at, err := os.Lstat(name); err != nil || !at.Mode().IsRegular() {
		return false
	}
	file, err := wholefile.Open(name)
	if err != nil {
		return false
	}
	defer file.Close()
	read := make([]byte, len(begin))
	_, err = io.ReadFull(file, read)
	return err == nil && string(read) == begin
}
