package procedures

import (
	"fmt"
	"regexp"
	"strings"
	"testing"

	"fettle/steps"
)

// Washers under the bolts tilt the motor, and not the plate that is glued to the airframe:
// what they put right is read on the shaft.
func TestWashersMoveWhatIsRead(t *testing.T) {
	moved := 0
	for _, sheet := range embeddedSheets() {
		for _, g := range sheet.Gates {
			for _, r := range g.Reworks {
				if strings.Contains(r.Do, "washers under") {
					if moved++; !regexp.MustCompile(`bar of 200 mm [^.\n]*across the shaft`).MatchString(g.How) {
						t.Errorf("%s: washers put %s right, and it is not read on the shaft", sheet.Name, g.Name)
					}
				}
			}
		}
	}
	if moved != 6 {
		t.Errorf("%d gates are put right by washers, want 6", moved)
	}
}

// What is tried on the wing waits until the wing is built: as long as it sets it stays in its jig.
func TestNothingIsTriedOnAWingThatSets(t *testing.T) {
	try := regexp.MustCompile(`(?i)\b(try|set|stand|lay)\b[^.\n]*\b(the wing on[,.:]|under the wing and\b)|\btry\b[^.\n]*\bon the wing\b`)
	tried := 0
	for _, d := range embeddedProcedures(t) {
		o := orderOf(d.Procedure)
		for s := range o.all() {
			if d.Procedure.Kind != steps.Build || !try.MatchString(s.Do) {
				continue
			}
			tried++
			for join := range o.all() {
				if join.Kind == steps.Join && len(join.Disturbs) == 1 && join.Disturbs[0] == "wing" && !o.before(join.Name, s.Name) {
					t.Errorf("%s: %s takes the wing while the joint %s may set", d.File, s.Name, join.Joint)
				}
			}
		}
	}
	if tried < 3 {
		t.Errorf("%d steps try something on the wing, want 3 at least", tried)
	}
}

// What is hot is switched on by a step and off by a step of the same stage, and used
// between them; while it is hot the sheet's conditions hold solvents back.
func TestHotToolsAreSwitchedOnAndOff(t *testing.T) {
	t.Parallel()
	hot := regexp.MustCompile(`^(hot-|iron$|gun$)`)
	used := 0
	onItsSheets(t, func(d *Document, o *order, sheet *steps.Sheet, s *steps.Step) {
		for _, name := range s.Tools {
			if !hot.MatchString(name) {
				continue
			}
			used++
			condition := "gun"
			if name == "iron" {
				condition = name
			}
			needed := false
			for _, tool := range sheet.Tools {
				if tool.Name == name {
					for _, need := range tool.Needs {
						needed = needed || need == steps.Setting{Condition: condition, State: "hot"}
					}
				}
			}
			if sheet.Name != "reed" && !needed {
				t.Errorf("%s: the tool %s does not need %s: hot", sheet.Name, name, condition)
			}
			on, off := false, false
			for other := range o.all() {
				for _, set := range other.Sets {
					if set.Condition == condition {
						on = on || set.State == "hot" && (other == s || o.before(other.Name, s.Name))
						off = off || set.State == "cold" && o.before(s.Name, other.Name)
					}
				}
			}
			if !on || !off {
				t.Errorf("%s: %s uses %s; switched on before: %t, off afterwards: %t", d.File, s.Name, name, on, off)
			}
		}
	})
	if used < 40 {
		t.Errorf("%d steps use something hot, want 40 at least", used)
	}
}

// What was cut into wing and tail for parts that come later stays without film.
func TestFilmLeavesOpenWhatIsNeeded(t *testing.T) {
	kept := 0
	for _, d := range embeddedProcedures(t) {
		if d.Procedure.Kind != steps.Build {
			continue
		}
		o := orderOf(d.Procedure)
		for _, zone := range []string{"wing", "tail"} {
			bare, films := "", []string{}
			for s := range o.all() {
				if strings.HasPrefix(s.Name, "film-") && meetsZone(s, zone) {
					films = append(films, s.Name)
					for line := range strings.SplitSeq(s.Do, "\n") {
						if strings.Contains(line, "bare") {
							bare += line
						}
					}
				}
			}
			for s := range o.all() {
				if len(films) == 0 || len(s.Tools) == 0 || !meetsZone(s, zone) || !o.before(s.Name, films[0]) {
					continue
				}
				for _, what := range []string{"bay", "channel", "socket"} {
					if !regexp.MustCompile(`(?i)\b` + what + `s?\b`).MatchString(s.Do + s.Title) {
						continue
					}
					if kept++; !strings.Contains(bare, what) {
						t.Errorf("%s: %s makes a %s in the %s, and the film goes over it", d.File, s.Name, what, zone)
					}
				}
			}
		}
	}
	if kept < 6 {
		t.Errorf("%d steps make room before the film, want 6 at least", kept)
	}
}

func meetsZone(s *steps.Step, zone string) bool {
	return len(s.Disturbs) > 0 && meet(s.Disturbs, []string{zone})
}

// Carbon and glass are in nobody's hand before the stage has warned of them.
func TestCarbonIsHandledAfterItsCaution(t *testing.T) {
	handles := regexp.MustCompile(`(?i)\b(lay|press|set|wet|roughen|coat)\b[^.,\n]*\b(rod|tubes?|strips?|skid)\b`)
	warns := regexp.MustCompile(`(?i)\b(carbon|glass)\b|ends of the tubes are sharp`)
	handled := 0
	onItsSheets(t, func(d *Document, o *order, sheet *steps.Sheet, s *steps.Step) {
		if d.Procedure.Kind != steps.Build || sheet.Name == "reed" || !handles.MatchString(s.Do) {
			return
		}
		handled++
		for other := range o.all() {
			if (other == s || o.before(other.Name, s.Name)) && o.stageOf[other.Name] == o.stageOf[s.Name] && warns.MatchString(warnings(other, usesOf(o, sheet, other))) {
				return
			}
		}
		t.Errorf("%s: %s handles glass or carbon, and nothing has warned of it: %q", d.File, s.Name, handles.FindString(s.Do))
	})
	if handled < 20 {
		t.Errorf("%d steps handle glass or carbon, want 20 at least", handled)
	}
}

// Before each flight the balance is tried at its marks. A step of the build draws them, where the balance is to be.
func TestBuildsDrawTheMarksOfTheBalance(t *testing.T) {
	marks := 0
	for _, d := range embeddedProcedures(t) {
		if d.Procedure.Kind != steps.Build || d.Procedure.Design == "reed" {
			continue
		}
		at := drawingOf(t, d.Procedure.Design)
		limits := at.gate("balance").Limits
		marks++
		middle := fmt.Sprintf("%g mm", (at.mm(limits.Low)+at.mm(limits.High))/2)
		drawn := false
		for s := range orderOf(d.Procedure).all() {
			for line := range strings.SplitSeq(s.Do, "\n") {
				drawn = drawn || strings.Contains(line, "Draw ") && strings.Contains(line, "the marks of the balance point") && strings.Contains(line, middle)
			}
		}
		if !drawn {
			t.Errorf("%s draws no marks of the balance point at %s", d.File, middle)
		}
	}
	if marks != 3 {
		t.Errorf("%d builds find a balance, want 3", marks)
	}
}

// A page shows a step by its title, and no page by a name for programs.
func TestEveryStepHasATitle(t *testing.T) {
	eachStep(t, func(d *Document, s *steps.Step) {
		if s.Title == "" {
			t.Errorf("%s: %s has no title", d.File, s.Name)
		}
	})
}
