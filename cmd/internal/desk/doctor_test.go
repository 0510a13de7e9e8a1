package desk

import (
	"encoding/binary"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// What is missing of the store as a whole is said too: each journal that is saved
// is whole as far as it can be known, but one may have had one entry more.
func TestSalvageSaysWhatIsMissing(t *testing.T) {
	d := aFleet(t)
	file, err := os.ReadFile(d.Path)
	if err != nil {
		t.Fatal(err)
	}
	newer, size := file, os.Getpagesize()
	if number := func(head []byte) uint64 { return binary.NativeEndian.Uint64(head[64:]) }; number(file[size:]) > number(file) {
		newer = file[size:]
	}
	newer[20] ^= 1
	if err := os.WriteFile(d.Path, file, 0o600); err != nil {
		t.Fatal(err)
	}
	out, err := d.Salvage(t.Context(), filepath.Join(t.TempDir(), "saved.db"))
	if err != nil || out.Airframes != len(marks())-1 {
		t.Errorf("%+v, %v", out, err)
	}
	if !slices.ContainsFunc(out.Faults, func(fault string) bool { return strings.Contains(fault, "the last append is missing") }) {
		t.Errorf("it says %q", out.Faults)
	}
}
