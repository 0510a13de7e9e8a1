package desk

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"fettle/workflow"
)

// A store that is named by a link is the file that the link leads to.
func TestRestoreThroughALink(t *testing.T) {
	for _, force := range []bool{false, true} {
		d := aFleet(t)
		copied := filepath.Join(t.TempDir(), "copy.db")
		if _, err := d.Backup(t.Context(), copied); err != nil {
			t.Fatal(err)
		}
		if force {
			if _, _, err := d.Act(t.Context(), "TN-01", workflow.Note{Text: "after the copy"}, time.Time{}); err != nil {
				t.Fatal(err)
			}
		}
		link := filepath.Join(t.TempDir(), "link.db")
		if err := os.Symlink(d.Path, link); err != nil {
			t.Skip("no links here:", err)
		}
		out, err := deskAt(link).Restore(t.Context(), copied, force)
		if err != nil {
			t.Fatal(err)
		}
		if info, err := os.Lstat(link); err != nil || info.Mode()&os.ModeSymlink == 0 {
			t.Errorf("the link is %v, %v", info.Mode(), err)
		}
		state, err := deskAt(d.Path).State(t.Context(), "TN-01")
		if err != nil || state.Size() != 1 {
			t.Errorf("%d entries, %v", state.Size(), err)
		}
		if info, err := os.Lstat(out.Aside); err != nil || !info.Mode().IsRegular() || filepath.Dir(out.Aside) != filepath.Dir(d.Path) {
			t.Errorf("aside is %s, %v", out.Aside, err)
		}
		for _, folder := range []string{filepath.Dir(link), filepath.Dir(d.Path)} {
			entries, err := os.ReadDir(folder)
			if err != nil {
				t.Fatal(err)
			}
			for _, entry := range entries {
				if strings.Contains(entry.Name(), "part") {
					t.Errorf("%s is left", entry.Name())
				}
			}
		}
	}
}
