package main

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/spf13/pflag"

	"fettle/cmd/internal/cli"
)

// Every command, with each of its options, and every page of help is in the manual, and
// man shows the pages without a complaint.
func TestManual(t *testing.T) {
	folder := t.TempDir()
	if err := write(folder); err != nil {
		t.Fatal(err)
	}
	read := func(name string) string {
		data, err := os.ReadFile(filepath.Join(folder, name))
		if err != nil {
			t.Error(err)
		}
		return string(data)
	}
	root, pages, err := cli.Manual()
	if err != nil {
		t.Fatal(err)
	}
	reference := read("reference.md")
	all := commands(root)
	if len(all) < 40 {
		t.Errorf("%d commands", len(all))
	}
	for _, cmd := range all {
		page := strings.ReplaceAll(read("man1/"+strings.ReplaceAll(cmd.CommandPath(), " ", "-")+".1"), `\-`, "-")
		if !strings.Contains(reference, "\n## "+cmd.CommandPath()+"\n") {
			t.Errorf("the reference lacks %s", cmd.CommandPath())
		}
		if !strings.Contains(page, cmd.Short) {
			t.Errorf("the page of %s does not say what it is for", cmd.CommandPath())
		}
		cmd.NonInheritedFlags().VisitAll(func(f *pflag.Flag) {
			if !strings.Contains(page, "--"+f.Name+"\\fP") || !strings.Contains(reference, "**--"+f.Name+"**") {
				t.Errorf("the option --%s of %s is missing", f.Name, cmd.CommandPath())
			}
		})
	}
	for _, p := range pages {
		if page := read("man7/fettle-" + p.Name + ".7"); strings.Contains(page, "<!--") {
			t.Errorf("the page %s shows what is not to be seen", p.Name)
		}
		if title, _, _ := strings.Cut(p.Text, "\n"); !strings.Contains(reference, "\n#"+title+"\n") {
			t.Errorf("the reference lacks %s", title)
		}
	}
	groff, err := exec.LookPath("groff")
	if err != nil {
		t.Skip("groff is not here, which shows the pages")
	}
	for _, name := range []string{"man1/fettle.1", "man1/fettle-measure.1", "man7/fettle-documents.7"} {
		out, err := exec.Command(groff, "-man", "-ww", "-z", "-Tutf8", "-k", filepath.Join(folder, name)).CombinedOutput()
		if err != nil || len(out) > 0 {
			t.Errorf("%s: %v: %s", name, err, out)
		}
	}
}
