package steps

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"fettle/steps/quantity"
)

func TestStepsOfAJoint(t *testing.T) {
	p := &Procedure{Stages: []Stage{
		{Name: "one", Steps: []Step{{Name: "left", Kind: Coat, Joint: "roots"}, {Name: "other", Kind: Coat, Joint: "tab"}, {Name: "look", Kind: Do}}},
		{Name: "two", Steps: []Step{{Name: "right", Kind: Coat, Joint: "roots"}, {Name: "dry", Kind: Wait, Joint: "roots"}, {Name: "close", Kind: Join, Joint: "roots"}}},
	}}
	made := func(joint, want string) {
		t.Helper()
		if got := fmt.Sprint(p.JointParts(joint)); got != want {
			t.Errorf("%s is made by %s, want %s", joint, got, want)
		}
	}
	made("roots", "[{close [left right]}]")
	made("tab", "[{ [other]}]")
	made("skin", "[]")
	// More parts: with coats of their own, with those of the part before, and
	// coated in a stage that is written later.
	p.Stages = append(p.Stages, Stage{Name: "three", Steps: []Step{
		{Name: "lay", Kind: Glue, Joint: "rod"}, {Name: "press", Kind: Join, Joint: "rod"}, {Name: "lay-more", Kind: Glue, Joint: "rod"}}},
		Stage{Name: "four", Steps: []Step{{Name: "late", Kind: Coat, Joint: "rod"}, {Name: "edge", Kind: Coat, Joint: "roots"}}})
	made("rod", "[{lay [lay]} {press [lay]} {lay-more [lay-more late]}]")
	made("roots", "[{close [left right edge]}]")
}

// The first row of which finding, zone and severity all fit answers.
func TestAnswer(t *testing.T) {
	table := &Triage{Unknown: "look-closely", Rows: []Row{
		{Findings: []string{"cracked"}, Zones: []string{"wing"}, Severities: []string{Total}, Procedure: "new-wing"},
		{Findings: []string{"cracked"}, Zones: []string{"wing", "tail"}, Procedure: "glue"},
		{Findings: []string{"dented"}, Severities: []string{Slight}, Procedure: "steam"},
		{Findings: []string{"lifted"}, Zones: []string{"film"}, Severities: []string{Total}, Outcome: ToReplace, Procedure: "new-film"},
	}}
	for _, c := range []struct{ finding, zone, severity, want string }{
		{"cracked", "wing", Total, "new-wing"}, {"cracked", "wing", Slight, "glue"}, {"cracked", "tail", Total, "glue"}, {"cracked", "pod", Total, "look-closely"},
		{"dented", "pod", Slight, "steam"}, {"dented", "wing", Total, "look-closely"}, {"odd", "wing", Total, "look-closely"},
		{"odd", "film", Serious, "look-closely"}, {"odd", "film", Total, "new-film"}, // lost
	} {
		row, known := table.Answer(c.finding, c.zone, c.severity)
		if row.Procedure != c.want || known != (c.want != "look-closely") {
			t.Errorf("%s, %s, %s: %q, known: %v", c.finding, c.zone, c.severity, row.Procedure, known)
		}
	}
}

// A table of one's own has nothing looked at that another table has replaced, where
// damage can hurt.
func TestNoTableTakesAReplacementAway(t *testing.T) {
	own := &Triage{Rows: []Row{{Findings: []string{"nicked", "cracked", "chipped"}, Outcome: ToRepair, Procedure: "look"}}, OwnWords: []OwnWords{{"propeller", "nicked"}},
		Findings: []Finding{{Name: "chipped"}}}
	theirs := &Triage{Findings: []Finding{{Name: "nicked", Zones: []string{"propeller"}, Caution: "It flies apart."}, {Name: "cracked", Zones: []string{"wing", "propeller"}}},
		Rows: []Row{{Findings: []string{"nicked"}, Severities: []string{Serious, Total}, Outcome: ToReplace, Procedure: "swap"}, {Findings: []string{"cracked"}, Outcome: ToReplace, Procedure: "new"}}}
	all := Asked(own, theirs)
	for _, c := range []struct{ finding, zone, severity, want string }{
		{"nicked", "propeller", Total, "swap"}, {"nicked", "propeller", Slight, "look"}, {"cracked", "propeller", Slight, "new"}, {"cracked", "wing", Total, "look"},
		{"chipped", "propeller", Serious, "swap"}, {"chipped", "propeller", Slight, "look"}, {"chipped", "wing", Serious, "look"},
	} {
		if row, _ := all.Answer(c.finding, c.zone, c.severity); row.Procedure != c.want {
			t.Errorf("%s on %s, %s: %s, want %s", c.finding, c.zone, c.severity, row.Procedure, c.want)
		}
	}
}

// A procedure for one airframe has the steps of its options, and the zone that it
// was started on where it says here.
func TestForOneAirframe(t *testing.T) {
	p := &Procedure{Name: "mend", Stages: []Stage{
		{Name: "one", Steps: []Step{{Name: "always", Disturbs: []string{"pod", Here}}, {Name: "with", Where: Where{With: [][]string{{"rudder"}}}}, {Name: "without", Where: Where{Without: []string{"rudder"}}}}},
		{Name: "two", After: []string{"one"}, Steps: []Step{{Name: "last"}}},
	}}
	for _, c := range []struct {
		options []string
		want    string
	}{{nil, "always without last"}, {[]string{"rudder"}, "always with last"}, {[]string{"flaps"}, "always without last"}} {
		own := p.For(Selection{Has: c.options}, "wing")
		var names []string
		for _, s := range own.Steps() {
			names = append(names, s.Name)
		}
		if strings.Join(names, " ") != c.want || len(own.Stages) != 2 || own.Name != "mend" {
			t.Errorf("with %v: %v", c.options, names)
		}
		if zones := own.Stages[0].Steps[0].Disturbs; !slices.Equal(zones, []string{"pod", "wing"}) {
			t.Errorf("started on the wing it disturbs %v", zones)
		}
	}
	if p.Stages[0].Steps[0].Disturbs[1] != Here {
		t.Error("the procedure itself was changed")
	}
	if s, of, ok := p.Step("last"); !ok || s.Name != "last" || of.Name != "two" {
		t.Errorf("last is %q of %q", s.Name, of.Name)
	}
	if _, _, ok := p.Step("first"); ok {
		t.Error("a step that is not there was found")
	}
	if s, ok := p.Stage("two"); !ok || s.Name != "two" {
		t.Errorf("two is %q", s.Name)
	}
	if _, ok := p.Stage("three"); ok {
		t.Error("a stage that is not there was found")
	}
}

// Stages before a stage are those it comes after and, once each, those before them.
func TestStagesBefore(t *testing.T) {
	p := &Procedure{Stages: []Stage{{Name: "a"}, {Name: "b", After: []string{"a"}}, {Name: "c", After: []string{"a"}}, {Name: "d", After: []string{"b", "c"}}, {Name: "e", After: []string{"gone"}}}}
	for stage, want := range map[string]string{"a": "", "b": "a", "d": "a b c", "e": "gone", "none": ""} {
		before := p.Before(stage)
		slices.Sort(before)
		if strings.Join(before, " ") != want {
			t.Errorf("before %s come %v", stage, before)
		}
	}
}

// Making a joint disturbs what its coats and its join do, and nothing else does.
func TestDisturbedByAJoint(t *testing.T) {
	p := &Procedure{Stages: []Stage{{Name: "one", Steps: []Step{
		{Name: "left", Kind: Coat, Joint: "roots", Disturbs: []string{"wing"}}, {Name: "right", Kind: Coat, Joint: "tab", Disturbs: []string{"tail"}},
		{Name: "rest", Kind: Wait, Joint: "roots", Disturbs: []string{"motor"}}, {Name: "sand", Kind: Do, Disturbs: []string{"nose"}},
		{Name: "close", Kind: Join, Joint: "roots", Disturbs: []string{"pod", "wing"}},
	}}}}
	for joint, want := range map[string]string{"roots": "pod wing", "tab": "tail", "none": ""} {
		if zones := p.DisturbedBy(joint); strings.Join(zones, " ") != want {
			t.Errorf("%s disturbs %v", joint, zones)
		}
	}
}

func TestWhatAStepAsksFor(t *testing.T) {
	named, stale, none := Step{Gates: []string{"slot"}}, Step{Gates: []string{Stale}}, Step{Name: "sand", Title: "Sand the pod"}
	if !named.AsksFor("slot") || named.AsksFor("square") || !stale.AsksFor("square") || none.AsksFor("slot") {
		t.Error("a step asks for the gates it names, or for any that is stale")
	}
	if none.Label() != "Sand the pod" || (&Step{Name: "sand"}).Label() != "sand" {
		t.Error("a step is called by its title, or by its name")
	}
}

// A design has what its sheet names, and gates by its options.
func TestSheet(t *testing.T) {
	s := &Sheet{
		Gates:      []Gate{{Name: "slot", Points: []string{"root", "tip"}, Repeat: 2, Of: []string{"wing", "pod"}}, {Name: "throw", Repeat: 1, Where: Where{With: [][]string{{"rudder"}}}}, {Name: "level", Repeat: 3, Where: Where{Without: []string{"rudder"}}}},
		Adhesives:  []Adhesive{{Name: "contact"}, {Name: "epoxy"}},
		Gauges:     []Gauge{{Name: "rule"}, {Name: "caliper"}},
		Conditions: []Condition{{Name: "propeller"}, {Name: "ventilation"}},
		Options:    []Option{{Name: "flaps"}, {Name: "rudder"}},
	}
	find := map[string]func(string) (string, bool){
		"level":       func(n string) (string, bool) { g, ok := s.Gate(n); return g.Name, ok },
		"epoxy":       func(n string) (string, bool) { a, ok := s.Adhesive(n); return a.Name, ok },
		"caliper":     func(n string) (string, bool) { g, ok := s.Gauge(n); return g.Name, ok },
		"ventilation": func(n string) (string, bool) { c, ok := s.Condition(n); return c.Name, ok },
		"rudder":      func(n string) (string, bool) { o, ok := s.Option(n); return o.Name, ok },
	}
	for name, by := range find {
		if have, ok := by(name); !ok || have != name {
			t.Errorf("%s was found as %q, %v", name, have, ok)
		}
		if have, ok := by("none"); ok || have != "" {
			t.Errorf("nothing was found as %q", have)
		}
	}
	for _, c := range []struct {
		options []string
		want    string
	}{{nil, "slot level"}, {[]string{"flaps"}, "slot level"}, {[]string{"flaps", "rudder"}, "slot throw"}} {
		var names []string
		for _, g := range s.GatesFor(Selection{Has: c.options}) {
			names = append(names, g.Name)
		}
		if strings.Join(names, " ") != c.want {
			t.Errorf("with %v: gates %v", c.options, names)
		}
	}
	for i, want := range []string{"root root tip tip", "", "  "} {
		if points := strings.Join(s.Gates[i].Readings(), " "); points != want {
			t.Errorf("%s is read at %q", s.Gates[i].Name, points)
		}
	}
	if g := s.Gates[0]; !g.DependsOn("tail", "pod") || g.DependsOn("tail") || g.DependsOn() {
		t.Error("the slot depends on the wing and the pod")
	}
}

func TestFindingOfATriage(t *testing.T) {
	table := &Triage{Findings: []Finding{{Name: "cracked"}, {Name: "dented"}}}
	if f, ok := table.Finding("dented"); !ok || f.Name != "dented" {
		t.Errorf("dented was found as %q", f.Name)
	}
	if _, ok := table.Finding("burnt"); ok {
		t.Error("a finding that is not there was found")
	}
}

// Tables are asked in their order, and what one says of a finding or a zone is not
// made less by another.
func TestAsked(t *testing.T) {
	lies := func(text string) Quarantine {
		q := Quarantine{Confirm: []string{"handed in"}}
		if text != "" {
			var err error
			if q.For, err = quantity.Parse(text, quantity.Duration); err != nil {
				t.Fatal(err)
			}
		}
		return q
	}
	own := &Triage{Name: "own", Unknown: "look", HardLanding: "", Rows: []Row{{Findings: []string{"cracked"}, Zones: []string{"wing"}, Procedure: "mend"}},
		Findings: []Finding{{Name: "cracked", Title: "mine", Zones: []string{"wing"}, Also: []string{"split"}}, {Name: "hit", Title: "battery hit", Zones: []string{"battery"}, Also: []string{"beule"}, Caution: "Charge it again.", Quarantine: lies("24 h")}},
		OwnWords: []OwnWords{{"wing", "cracked"}}}
	general := &Triage{Name: "general", Unknown: "inspect", HardLanding: "check", Rows: []Row{{Findings: []string{"cracked"}, Procedure: "glue"}, {Findings: []string{"nicked"}, Procedure: "new"}, {Findings: []string{"puffed"}, Severities: []string{Slight, Total}, Outcome: ToRepair, Procedure: "look-at-it"}, {Findings: []string{"puffed"}, Severities: []string{Total}, Outcome: ToReplace, Procedure: "swap"}},
		Findings: []Finding{{Name: "cracked", Title: "theirs", Zones: []string{"tail"}}, {Name: "nicked", Zones: []string{"propeller"}, Caution: "Battery out."},
			{Name: "hit", Title: "battery dented", Zones: []string{"battery"}, Also: []string{"pack smokes"}, Caution: "It burns.", Quarantine: lies("48 h")}, {Name: "puffed", Zones: []string{"battery"}, Quarantine: lies("72 h")}, {Name: "wet", Zones: []string{"radio"}, Quarantine: lies("")}},
		OwnWords: []OwnWords{{"wing", "nicked"}, {"propeller", "nicked"}, {"spars", "bend-test"}, {"tail", "cracked"}, {"radio", "cracked"}, {"battery", "bend-test"}}}
	own.Findings[1].Quarantine.Confirm = []string{"on sand", "handed in"}
	general.Findings[2].Quarantine.Confirm = []string{"cool", "handed in"}
	all := Asked(own, general)
	for _, c := range []struct{ finding, zone, severity, want string }{
		{"cracked", "wing", Total, "mend"}, {"cracked", "tail", Total, "glue"}, {"nicked", "propeller", Slight, "new"},
		{"odd", "wing", Slight, "mend"}, {"odd", "propeller", Slight, "new"}, {"odd", "spars", Slight, "bend-test"}, {"odd", "tail", Slight, "glue"},
		{"nicked", "tail", Slight, "glue"}, {"nicked", "battery", Total, "swap"}, // where it is not possible
		{"odd", "battery", Slight, "swap"}, // never as less than the row asks for
	} {
		if row, _ := all.Answer(c.finding, c.zone, c.severity); row.Procedure != c.want {
			t.Errorf("%s on %s: %s, want %s", c.finding, c.zone, row.Procedure, c.want)
		}
	}
	if f, _ := all.Finding("cracked"); f.Title != "mine" || !f.In("wing") || !f.In("tail") || f.In("pod") {
		t.Errorf("cracked is %+v", f)
	}
	if f, _ := all.Finding("hit"); f.Quarantine.Lasts() != 48*time.Hour || !slices.Equal(f.Quarantine.Confirm, []string{"on sand", "handed in", "cool"}) || f.Caution != "Charge it again. It burns." {
		t.Errorf("hit lies for %v until %v, with the caution %q", f.Quarantine.Lasts(), f.Quarantine.Confirm, f.Caution)
	}
	for _, words := range []string{"eine Beule", "the pack smokes", "battery dented a bit"} {
		if m := all.Sounds([]string{"battery", "pod"}, "pod", words); len(m) != 1 || m[0].Name != "hit" {
			t.Errorf("%q sounds like %v", words, m)
		}
	}
	for zone, want := range map[string]string{"battery": "puffed", "wing": "cracked", "radio": "wet", "spars": "", "tail": "cracked", "motor": ""} {
		if f, _ := all.Means(zone); f.Name != want {
			t.Errorf("words on %s mean %q, want %q", zone, f.Name, want)
		}
	}
	if got := all.Dangers([]string{"tail", "propeller", "wing", "spars", "battery"}); !slices.Equal(got, []string{"battery", "propeller"}) {
		t.Errorf("first are looked at %v", got)
	}
	if all.HardLanding != "check" {
		t.Errorf("a hard landing asks for %q", all.HardLanding)
	}
}
