package cli

import (
	"fmt"
	"strings"
	"testing"

	"fettle/cmd/internal/desk"
	"fettle/cmd/internal/keep"
	"fettle/store"
)

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
