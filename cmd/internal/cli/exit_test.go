package cli

import (
	"fmt"
	"strings"
	"testing"

	"fettle/cmd/internal/desk"
	"fettle/cmd/internal/keep"
	"fettle/store"
)

// Whoever leaves while it is not known what became of an answer is told so by the exit code too, also
// where the store is back by then and something else was recorded since.
func TestLeftUnsure(t *testing.T) {
	a := &app{kept: &keep.Keeper{Desk: &desk.Desk{}}}
	ends := func(code int) {
		t.Helper()
		if got := exitCode(a.unsure()); got != code {
			t.Errorf("it ends with %d, want %d", got, code)
		}
	}
	ends(exitDone)
	a.stale = true
	ends(exitStore)
	a.stale = false
	_ = a.kept.Desk.Noted("CW-01", 3, fmt.Errorf("%w: no answer in time", store.ErrUnknown))
	ends(exitUnsure)
	_ = a.kept.Desk.Noted("CW-02", 5, nil)
	ends(exitUnsure)
}

// Of a store that another terminal holds it is said that nothing was recorded, where something was to be.
func TestLockedOut(t *testing.T) {
	a := &app{kept: &keep.Keeper{Desk: &desk.Desk{}}}
	locked := &store.Error{Op: "write", Err: fmt.Errorf("%w: the journal of CW-01 grows faster than it is read", store.ErrLocked), Hint: "see what the other terminal does, then try again"}
	for name, begins := range map[string]string{"note": "nothing was recorded: cannot write the store", "status": "cannot write the store"} {
		cmd, _, err := a.root().Find([]string{name})
		if err != nil {
			t.Fatal(err)
		}
		err = a.outcome(cmd, locked)
		if text := err.Error(); !strings.HasPrefix(text, begins) || !strings.HasSuffix(text, "then try again") || exitCode(err) != exitStore {
			t.Errorf("%s: %q", name, text)
		}
	}
}
