package cli

import (
	"os/exec"
	"slices"
	"strings"
	"testing"
)

// TestImportsPointOneWay holds the house to its plan: quantity ← steps ←
// workflow ← store, procedures ← cmd.
func TestImportsPointOneWay(t *testing.T) {
	t.Parallel()
	out, err := exec.Command("go", "list", "-f", "{{.ImportPath}} {{join .Imports \" \"}}", "fettle/...").Output()
	if err != nil {
		t.Fatal(err)
	}
	may := map[string][]string{ // a room, and the rooms it may import
		"steps":      {"steps"},
		"workflow":   {"steps", "workflow"},
		"store":      {"store"},
		"procedures": {"steps", "workflow", "procedures", "store"},
		"cmd":        {"steps", "workflow", "store", "procedures", "cmd"},
	}
	only := map[string][]string{ // what comes from outside, and the rooms that may import it
		"go.etcd.io": {"store"}, "gopkg.in/yaml.v3": {"procedures", "cmd"}, "github.com/spf13": {"cmd"},
		"gonum.org/v1/gonum":       {"steps"},
		"github.com/charmbracelet": {"cmd"}, "charm.land": {"cmd"}, "golang.org/x/term": {"cmd"}, "github.com/adrg/xdg": {"cmd"},
		"os": {"store", "procedures", "cmd"}, "net": {"store"}, "io/fs": {"store", "procedures", "cmd"},
	}
	not := map[string][]string{ // a package, and those that it must not know
		"cmd/internal/desk": {"cmd/internal/keep", "cmd/internal/cli"},
		"cmd/internal/keep": {"cmd/internal/cli"},
	}
	for _, line := range strings.Split(strings.TrimSpace(string(out)), "\n") {
		names := strings.Fields(line)
		room, _, _ := strings.Cut(strings.TrimPrefix(names[0], "fettle/"), "/")
		for _, imported := range names[1:] {
			in, ours := strings.CutPrefix(imported, "fettle/")
			if !ours {
				for outside, rooms := range only {
					if strings.HasPrefix(imported+"/", outside+"/") && !slices.Contains(rooms, room) {
						t.Errorf("%s imports %s, which belongs to %s", names[0], imported, strings.Join(rooms, ", "))
					}
				}
				continue
			}
			if slices.Contains(not[strings.TrimPrefix(names[0], "fettle/")], in) {
				t.Errorf("%s imports %s", names[0], imported)
			}
			if in == "store/bolt" && room == "cmd" && names[0] != "fettle/cmd/fettle" && names[0] != "fettle/cmd/shed/fettle" || in == "store/etcd" && names[0] != "fettle/cmd/shed/fettle" {
				t.Errorf("%s imports %s: a program's main says which kinds of store there are", names[0], imported)
			}
			to, _, _ := strings.Cut(in, "/")
			if !slices.Contains(may[room], to) {
				t.Errorf("%s imports %s", names[0], imported)
			}
			if room == "procedures" && to == "workflow" && in != "workflow/repair" {
				t.Errorf("%s imports %s; of the workflow it needs the composer alone", names[0], imported)
			}
			if room == "procedures" && to == "store" && in != "store/photos" {
				t.Errorf("%s imports %s; of the store it needs what a picture may be alone", names[0], imported)
			}
			if names[0] == "fettle/steps/quantity" && imported != "fettle/steps/nearest" {
				t.Errorf("quantity imports %s", imported)
			}
		}
	}
}

// What costs time at every start is not linked: a renderer of Markdown with a syntax
// highlighter and a sanitizer, and the network.
func TestWhatIsNotLinked(t *testing.T) {
	t.Parallel()
	out, err := exec.Command("go", "list", "-deps", "fettle/cmd/fettle").Output()
	if err != nil {
		t.Fatal(err)
	}
	linked := strings.Fields(string(out))
	if !slices.Contains(linked, "github.com/yuin/goldmark/parser") {
		t.Fatalf("the list lacks the parser of Markdown: %v", linked)
	}
	for _, not := range []string{"github.com/charmbracelet/glamour", "github.com/alecthomas/chroma/v2", "github.com/microcosm-cc/bluemonday", "github.com/charmbracelet/lipgloss", "github.com/charmbracelet/x/cellbuf", "golang.org/x/text/language", "html/template", "net/http", "crypto/tls", "fettle/store/etcd", "go.etcd.io/etcd/client/v3", "google.golang.org/grpc", "github.com/cpuguy83/go-md2man/v2/md2man", "github.com/spf13/cobra/doc"} {
		if slices.Contains(linked, not) {
			t.Errorf("%s is linked", not)
		}
	}
}
