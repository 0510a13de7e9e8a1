package keep

import (
	"encoding/binary"
	"errors"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"fettle/procedures"
)

// What is missing of the store as a whole is said too: each journal that is saved
// is whole as far as it can be known, but one may have had one entry more.
func TestSalvageSaysWhatIsMissing(t *testing.T) {
	k := aFleet(t)
	file, err := os.ReadFile(k.Path)
	if err != nil {
		t.Fatal(err)
	}
	newer, size := file, os.Getpagesize()
	if number := func(head []byte) uint64 { return binary.NativeEndian.Uint64(head[64:]) }; number(file[size:]) > number(file) {
		newer = file[size:]
	}
	newer[20] ^= 1
	if err := os.WriteFile(k.Path, file, 0o600); err != nil {
		t.Fatal(err)
	}
	out, err := k.Salvage(t.Context(), filepath.Join(t.TempDir(), "saved.db"))
	if err != nil || out.Airframes != len(marks())-1 {
		t.Errorf("%+v, %v", out, err)
	}
	if !slices.ContainsFunc(out.Faults, func(fault string) bool { return strings.Contains(fault, "the last append is missing") }) {
		t.Errorf("it says %q", out.Faults)
	}
}

// A fault that is found many times is said once.
func TestFaultsAreSaidOnce(t *testing.T) {
	page, mark := errors.New("page 7"), errors.New("a mark is not one")
	if got := texts([]error{mark, page, mark, mark}); !slices.Equal(got, []string{"a mark is not one (3 times)", "page 7"}) {
		t.Errorf("it says %q", got)
	}
}

// A document that was lost is taken from the library, if that has the very same;
// else it is said.
func TestSalvageLostDocument(t *testing.T) {
	t.Parallel()
	for name, test := range map[string]struct {
		library string
		lost    int
	}{"in the library": {documents, 0}, "nowhere": {"", len(marks())}} {
		t.Run(name, func(t *testing.T) {
			k := aFleet(t)
			file, err := os.ReadFile(k.Path)
			if err != nil {
				t.Fatal(err)
			}
			for at := range len(file) - 12 { // every copy of the page
				if string(file[at:at+12]) == "design: tern" {
					file[at] ^= 1
				}
			}
			if err := os.WriteFile(k.Path, file, 0o600); err != nil {
				t.Fatal(err)
			}
			k.Desk.Library = procedures.Open(test.library)
			out, err := k.Salvage(t.Context(), filepath.Join(t.TempDir(), "saved.db"))
			if err != nil || out.Airframes != len(marks()) || len(out.Documents) != test.lost {
				t.Fatalf("%+v, %v", out, err)
			}
			_, err = keeperAt(out.File).Desk.State(t.Context(), marks()[0])
			if (err == nil) != (test.lost == 0) {
				t.Errorf("the airframe is opened with %v", err)
			}
		})
	}
}
