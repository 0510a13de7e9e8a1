package cli

import (
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"fettle/cmd/internal/screen/screentest"
)

// On a terminal the demo goes page by page: no page is taller than the screen, the first
// one comes at once, and q leaves.
func TestDemoByPage(t *testing.T) {
	newExampleBench(t)
	cmd := program(t, "demo", "--store", filepath.Join(t.TempDir(), "demo.db"))
	p := screentest.Start(t, cmd, 80, 24)
	const prompt = "Enter goes on, q leaves"
	page := func(text string) {
		t.Helper()
		p.Await(text, func(screen string) bool {
			return strings.Contains(strings.Join(strings.Fields(screen), " "), text) && strings.HasSuffix(strings.TrimSpace(screen), prompt)
		})
	}
	page("$ fettle airframe add CW-01")
	p.Press("\r")
	page("read the thermometer")
	p.Resize(44, 12)
	p.Press("\r")
	page("the first step is a hold")
	if screen := p.Screen(); !strings.HasPrefix(strings.TrimSpace(screen), "---") {
		t.Errorf("the head of the page has scrolled away:\n%s", screen)
	}
	p.Press("\r")
	p.Await("the next part", func(screen string) bool { // and its question: what comes before that is dropped
		return !strings.Contains(screen, "the first step is") && strings.HasSuffix(strings.TrimSpace(screen), prompt)
	})
	p.Press("q\r")
	if _, err := p.End(); err != nil {
		t.Error(err)
	}
}

// Whole words at 40 columns: errors, help and questions.
func TestNarrow(t *testing.T) {
	play := player(t)
	play("fettle airframe add CW-01 --design causeway")
	fettle := program(t).Path
	words := func(text string) []string { return strings.Fields(text) }
	for _, c := range []struct{ args, keys, says string }{
		{"done CW-01 glue-the-spar-to-the-bulkhead", "", `fettle: CW-01 has no job with a step "glue-the-spar-to-the-bulkhead"`},
		{"note CW-01 hello --at half-past-nine", "", `fettle: "half-past-nine" is not a time; write 19:02, "2026-03-03 19:02" or -10m, which is ten minutes ago`},
		{"help undo", "", "Take an entry back by its number. Nothing is deleted: a new entry names what is taken back, and the steps that depended on it are open again. Damage, a release, more than five entries and what somebody else recorded are taken back only with a reason; damage leaves a look-over of the place."},
		{"help undo", "", "show limits and readings in the other system of units too, to the nearest 1/64 in"},
		{"start CW-01", "1\r", "Which? Its number or name, or Enter for none:"},
		{"next CW-01", "", "Read the rules and the labels"}, // what was the first of the list is open
	} {
		p := screentest.Start(t, exec.Command(fettle, strings.Fields(c.args)...), 40, 70)
		wanted := regexp.MustCompile(strings.ReplaceAll(regexp.QuoteMeta(strings.Join(words(c.says), " ")), " ", `\s+`))
		p.Await("whole words of "+c.says, wanted.MatchString)
		if c.keys != "" {
			p.Press(c.keys)
			p.See("is open on")
		}
	}
}
