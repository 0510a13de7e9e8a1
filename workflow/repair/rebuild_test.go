package repair_test

import (
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"fettle/procedures"
	"fettle/steps"
	"fettle/workflow/repair"
)

var update = flag.Bool("update", false, "write the golden files anew")

func procedure(t *testing.T, name string) *steps.Procedure {
	t.Helper()
	doc, err := procedures.Open("").Procedure(name)
	if err != nil {
		t.Fatal(err)
	}
	return doc.Procedure
}

// loss is what is lost of a shipped design, built with these options.
func loss(t *testing.T, design string, options []string, zones ...string) repair.Loss {
	t.Helper()
	sheet, err := procedures.Open("").Sheet(design)
	if err != nil {
		t.Fatal(err)
	}
	off := "part-off"
	if design == "reed" {
		off = "reed-off"
	}
	build := procedure(t, design+"-build")
	return repair.Loss{Zones: zones, Build: build.For(build.ByFirst(steps.Selection{Has: options}), ""), Off: procedure(t, off), Sheet: sheet.Sheet}
}

// listing is the procedure as a builder reads it.
func listing(r repair.Rebuilt) string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s\nthrown away: %s\n", r.Procedure.Title, strings.Join(r.Retires, ", "))
	if len(r.Wider) > 0 {
		fmt.Fprintf(&b, "that cannot be kept: %s\n", strings.Join(r.Wider, ", "))
	}
	if r.Most {
		b.WriteString("more than half of the build\n")
	}
	for _, stage := range r.Procedure.Stages {
		fmt.Fprintf(&b, "\n%s: %s (after %s) %s\n", stage.Name, stage.Title, strings.Join(stage.After, ", "), stage.Phase)
		for _, s := range stage.Steps {
			fmt.Fprintf(&b, "  %s [%s]: %s", s.Name, s.Kind, s.Label())
			for _, said := range []struct {
				key   string
				names []string
			}{{"joint", []string{s.Joint}}, {"measures", s.Gates}, {"disturbs", s.Disturbs}, {"throws away", s.Retires}} {
				if names := strings.Join(said.names, ", "); names != "" {
					fmt.Fprintf(&b, "; %s %s", said.key, names)
				}
			}
			b.WriteString("\n")
			for _, c := range s.Cautions {
				fmt.Fprintf(&b, "      ! %s\n", c)
			}
			if only, _, found := strings.Cut(s.Do, "\n"); found && strings.HasPrefix(only, "Only") || strings.HasPrefix(s.Name, "part-") {
				fmt.Fprintf(&b, "      %s\n", strings.ReplaceAll(strings.TrimSpace(s.Do), "\n", "\n      "))
			}
		}
	}
	return b.String()
}

// What is lost is made anew by all that makes it. What has no work of its own goes with
// what it is made in; of what is made alike, such as two booms, the new one is measured.
func TestALostPartIsMadeWhole(t *testing.T) {
	for _, c := range []struct{ design, zone, wider, steps string }{
		{"causeway", "spars", "wing", "join-wing coat-top-slot join-top-spar coat-bottom-slot join-bottom-spar cure-spars"},
		{"jetty", "spars", "wing", "cure-spars"}, {"skerry", "spars", "wing", "cure-spars"},
		{"causeway", "film", "", "heat-iron try-film film-left-boom film-wing-under film-wing-top film-tail film-pod cool-iron cool-parts boom-straight washout"},
		{"causeway", "left-boom", "", "join-left-boom-tube film-left-boom measure-film join-booms"},
	} {
		r, err := repair.Rebuild(loss(t, c.design, nil, c.zone))
		if err != nil {
			t.Fatal(c, err)
		}
		has := map[string]bool{}
		for _, s := range r.Procedure.Steps() {
			has[s.Name] = true
			for _, gate := range s.Gates {
				has[gate] = true
			}
		}
		for _, want := range strings.Fields(c.steps) {
			if !has[want] {
				t.Errorf("%s of %s: it lacks %s", c.zone, c.design, want)
			}
		}
		if got := strings.Join(r.Wider, " "); got != c.wider {
			t.Errorf("%s of %s: %q goes with it, want %q", c.zone, c.design, got, c.wider)
		}
	}
}

// A lost part of each shipped design is built anew by its build. The listings were
// read line by line, as who has the other parts on the bench would read them.
func TestALostPartIsBuiltAnew(t *testing.T) {
	for _, c := range []struct {
		design, options string
		zones           []string
	}{
		{"causeway", "", []string{"wing"}}, {"causeway", "", []string{"pod"}}, {"causeway", "", []string{"tail"}},
		{"jetty", "", []string{"wing"}}, {"jetty", "", []string{"tail"}},
		{"skerry", "", []string{"wing"}}, {"skerry", "", []string{"fins"}},
		{"reed", "two-panels clay", []string{"wing"}}, {"reed", "two-panels clay", []string{"tail"}},
	} {
		name := c.design + "-" + strings.Join(c.zones, "-")
		t.Run(name, func(t *testing.T) {
			r, err := repair.Rebuild(loss(t, c.design, strings.Fields(c.options), c.zones...))
			if err != nil {
				t.Fatal(err)
			}
			golden := filepath.Join("testdata", "rebuild", name+".txt")
			got := listing(r)
			if *update {
				if err := os.MkdirAll(filepath.Dir(golden), 0o755); err != nil {
					t.Fatal(err)
				}
				if err := os.WriteFile(golden, []byte(got), 0o644); err != nil {
					t.Fatal(err)
				}
			}
			want, err := os.ReadFile(golden)
			if err != nil {
				t.Fatal(err)
			}
			if got != string(want) {
				t.Errorf("it is\n%s\nwant\n%s", got, want)
			}
		})
	}
}
