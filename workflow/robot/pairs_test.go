package robot_test

import (
	"os"
	"slices"
	"strings"
	"testing"

	"fettle/procedures"
	"fettle/steps"
	"fettle/workflow/robot"
)

// An answer is what is said to a choice of the design, or to a step that asks for a
// method; to an option by itself its name, or No.
type answer struct{ choice, name string }

// taken are the names of the answers that an airframe has.
func taken(row []answer) []string {
	var names []string
	for _, a := range row {
		if a.name != steps.No {
			names = append(names, a.name)
		}
	}
	return names
}

// combinations are all ways in which the procedure can be carried out on an airframe of
// the design: the first answer of each choice first, and a method only where a step asks
// for it.
func combinations(sheet *steps.Sheet, p *steps.Procedure) [][]answer {
	all := [][]answer{nil}
	with := func(c steps.Choice, asked func(row []answer) bool) {
		names := c.Names()
		if c.Alone {
			names = append([]string{steps.No}, names...)
		}
		var next [][]answer
		for _, row := range all {
			if !asked(row) {
				next = append(next, row)
				continue
			}
			for _, name := range names {
				next = append(next, append(slices.Clip(row), answer{c.Name, name}))
			}
		}
		all = next
	}
	for _, c := range sheet.Choices() {
		with(c, func([]answer) bool { return true })
	}
	for _, s := range p.Steps() {
		if len(s.Methods) > 0 {
			with(s.Asked(sheet), func(row []answer) bool { return s.Applies(taken(row)) })
		}
	}
	return all
}

// alone are combinations with each answer beside the first ones of the other choices.
func alone(all [][]answer) [][]answer {
	first := map[string]string{}
	fewest := map[answer][]answer{} // that are not the first of their choice
	var seen []answer
	others := func(row []answer) int {
		return len(slices.DeleteFunc(slices.Clone(row), func(a answer) bool { return first[a.choice] == a.name }))
	}
	for _, row := range all {
		for _, a := range row {
			if first[a.choice] == "" {
				first[a.choice] = a.name
			}
		}
	}
	for _, row := range all {
		for _, a := range row {
			if had, met := fewest[a]; !met {
				seen, fewest[a] = append(seen, a), row
			} else if others(row) < others(had) {
				fewest[a] = row
			}
		}
	}
	var rows [][]answer
	for _, a := range seen {
		rows = append(rows, fewest[a])
	}
	return rows
}

// pairsOf are the pairs of answers of a combination, and each answer by itself.
func pairsOf(row []answer) [][2]answer {
	var all [][2]answer
	for i, a := range row {
		for _, b := range row[i:] {
			all = append(all, [2]answer{a, b})
		}
	}
	return all
}

// pairs are few of the combinations in which any two answers stand together that do in
// any: the first, then always the one that has most pairs which are in none yet.
func pairs(all [][]answer) [][]answer {
	open := map[[2]answer]bool{}
	for _, row := range all {
		for _, p := range pairsOf(row) {
			open[p] = true
		}
	}
	var rows [][]answer
	for best := 0; best >= 0; {
		rows = append(rows, all[best])
		for _, p := range pairsOf(all[best]) {
			delete(open, p)
		}
		best = -1
		most := 0
		for i, row := range all {
			news := 0
			for _, p := range pairsOf(row) {
				if open[p] {
					news++
				}
			}
			if news > 0 && news >= most { // of several the last, which has most that is not the first of its choice
				best, most = i, news
			}
		}
	}
	return rows
}

// variants are the ways in which the procedure is carried out: every pair of answers, then
// each alone; by default the first two of them.
func variants(sheet *steps.Sheet, p *steps.Procedure) [][]string {
	all := combinations(sheet, p)
	var rows [][]string
	for _, row := range append(pairs(all), alone(all)...) { // the first of them are the first answers
		if names := taken(row); !slices.ContainsFunc(rows, func(had []string) bool { return slices.Equal(had, names) }) {
			rows = append(rows, names)
		}
	}
	if os.Getenv("FETTLE_LONG") == "" {
		rows = rows[:min(2, len(rows))]
	}
	return rows
}

// Any two answers that can stand together do in one of the pairs, those that cannot in
// none, and each answer stands alone.
func TestPairs(t *testing.T) {
	t.Parallel()
	options := func(choice string, names ...string) []steps.Option {
		var all []steps.Option
		for _, n := range names {
			all = append(all, steps.Option{Name: n, Choice: choice})
		}
		return all
	}
	sheet := &steps.Sheet{Options: slices.Concat(options("fins", "fixed", "loose", "hinged"), options("", "skid"), options("glue", "wet", "dry"), options("", "lamp", "hook"))}
	build := &steps.Procedure{Stages: []steps.Stage{{Steps: []steps.Step{{Name: "weight", Methods: options("", "clay", "lead"), Where: steps.Where{With: [][]string{{"skid"}}}}}}}}
	all := combinations(sheet, build)
	if len(all) != 3*2*2*2*2+3*2*2*2 {
		t.Fatalf("%d combinations", len(all))
	}
	covering := pairs(all)
	together := func(rows [][]answer, names ...string) bool {
		return slices.ContainsFunc(rows, func(row []answer) bool { return len(without(names, taken(row))) == 0 })
	}
	for _, names := range [][]string{{"fixed", "skid"}, {"loose", "dry"}, {"hinged", "clay"}, {"lead", "wet"}, {"lamp", "hook"}, {"lead", "hook"}} {
		if !together(covering, names...) {
			t.Errorf("%v is in none of %v", names, covering)
		}
	}
	for _, rows := range [][][]answer{all, covering} {
		for _, names := range [][]string{{"fixed", "loose"}, {"wet", "dry"}, {"clay", "lead"}} {
			if together(rows, names...) {
				t.Errorf("%v exclude each other", names)
			}
		}
		for _, row := range rows {
			if names := taken(row); slices.Contains(names, "clay") && !slices.Contains(names, "skid") {
				t.Errorf("%v: nothing asks for clay without the skid", names)
			}
		}
	}
	if len(covering) > 12 { // nine at least: with the skid each of the fins with clay and with lead, and each without it
		t.Errorf("%d combinations for every pair: %v", len(covering), covering)
	}
	var single []string
	for _, row := range alone(all) {
		single = append(single, strings.Join(taken(row), " "))
	}
	slices.Sort(single)
	want := []string{"fixed dry", "fixed skid wet clay", "fixed skid wet lead", "fixed wet", "fixed wet hook", "fixed wet lamp", "hinged wet", "loose wet"}
	if got := slices.Compact(single); !slices.Equal(got, want) {
		t.Errorf("alone: %q, want %q", got, want)
	}
}

// Every build of the library comes to its end and to a release that still stands then:
// with each answer to a choice alone, and with every two that can stand together.
func TestEveryBuildEndsInARelease(t *testing.T) {
	t.Parallel()
	entries, _ := procedures.Open("").List()
	builds := 0
	for _, e := range entries {
		if e.Document.Kind() != steps.Build {
			continue
		}
		design := named(t, e.Document.Procedure.Design)
		for i, answers := range variants(design.Sheet, e.Document.Procedure) {
			t.Run(e.Document.Name()+" "+strings.Join(answers, " "), func(t *testing.T) {
				builds++
				var w *robot.Worker
				if i == 0 { // the first answers are what the robot takes by itself
					w = build(t, design, e.Document, nil)
				} else {
					w = build(t, design, e.Document, answers)
				}
				if open := w.State.OpenJobs(w.Now); len(open) > 0 {
					t.Fatalf("%d jobs are open", len(open))
				}
				if flight := w.State.Airworthiness(w.Now); !flight.Released {
					t.Fatalf("not released: %+v", flight)
				}
				if has := without(read(w).has, []string{steps.No}); len(without(has, answers))+len(without(answers, has)) > 0 {
					t.Errorf("by its journal it has %v", has)
				}
			})
		}
	}
	if builds == 0 {
		t.Fatal("there is no build")
	}
}
