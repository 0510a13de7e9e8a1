package robot_test

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"fettle/procedures"
	"fettle/steps"
	"fettle/workflow"
	"fettle/workflow/robot"
)

// Whatever check calls in order can be built to its release, repaired by itself
// and after damage, on random documents too: with every choice of options.
func TestRandomDocumentsAreCarriedOut(t *testing.T) {
	t.Parallel()
	rounds := 4
	if os.Getenv("FETTLE_LONG") != "" {
		rounds = 600
	}
	base := worker(t) // the library, read once
	inOrder := 0
	for seed := range rounds {
		set := rapid.Custom(writeDocuments).Example(seed)
		folder := t.TempDir()
		var files []string
		for name, text := range set {
			file := filepath.Join(folder, name+".yaml")
			if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
				t.Fatal(err)
			}
			files = append(files, file)
		}
		library := procedures.Open(folder)
		report, err := library.Check(t.Context(), files...)
		if err != nil {
			t.Fatal(err)
		}
		if len(report.Faults) > 0 {
			if os.Getenv("FETTLE_LONG") != "" {
				t.Logf("seed %d: %v", seed, report.Faults[0])
			}
			continue
		}
		inOrder++
		if err := carryOut(library, base); err != nil {
			t.Errorf("seed %d: %v\n%s", seed, err, strings.Join([]string{set["wren"], set["wren-build"], set["wren-mend"], set["wren-crash"]}, "\n"))
		}
	}
	if inOrder*2 < rounds {
		t.Errorf("%d of %d sets were in order", inOrder, rounds)
	}
}

// carryOut builds an airframe with every choice of options, and repairs it.
func carryOut(library *procedures.Library, base *robot.Worker) error {
	design, err := library.Sheet("wren")
	if err != nil {
		return err
	}
	build, err := library.Procedure("wren-build")
	if err != nil {
		return err
	}
	mend, err := library.Procedure("wren-mend")
	if err != nil {
		return err
	}
	tables, err := library.Tables("wren")
	if err != nil {
		return err
	}
	var asked []*steps.Triage
	for _, d := range tables {
		asked = append(asked, d.Triage)
	}
	table := steps.Asked(asked...)
	find := func(name string) (*steps.Procedure, error) {
		doc, err := library.Procedure(name)
		if err != nil {
			return nil, err
		}
		return doc.Procedure, nil
	}
	for _, row := range combinations(design.Sheet, build.Procedure) {
		options := taken(row)
		w := *base
		w.Answers = options
		w.Documents = workflow.Documents{Sheets: map[string]*steps.Sheet{design.Digest(): design.Sheet}, Procedures: map[string]*steps.Procedure{build.Digest(): build.Procedure, mend.Digest(): mend.Procedure}}
		if w.State, err = workflow.Replay(nil, w.Documents); err != nil {
			return err
		}
		begin := func(p *steps.Procedure, digest, zone string, damages []string) error {
			if err := w.Act(workflow.Start{Procedure: p, Digest: digest, Sheet: design.Sheet, SheetDigest: design.Digest(), Zone: zone, Damages: damages}); err != nil {
				return fmt.Errorf("starting %s %s: %w", p.Name, zone, err)
			}
			if err := w.Carry(2000); err != nil {
				return fmt.Errorf("%s %s: %w", p.Name, zone, err)
			}
			if len(w.State.OpenJobs(w.Now)) > 0 {
				return fmt.Errorf("%s %s has no end", p.Name, zone)
			}
			for _, g := range w.State.Gates(w.Now) {
				if g.Gate.Critical && !g.Met() {
					return fmt.Errorf("after %s %s the gate %s is %s", p.Name, zone, g.Gate.Name, g.Says().Text)
				}
			}
			return nil
		}
		if err := w.Act(workflow.Register{Mark: "WR-01", Sheet: design.Sheet, Digest: design.Digest(), Options: unasked(design.Sheet, build.Procedure, options)}); err != nil {
			return err
		}
		if err := begin(build.Procedure, build.Digest(), "", nil); err != nil {
			return fmt.Errorf("with %v: %w", options, err)
		}
		if !w.State.Airworthiness(w.Now).Released {
			return fmt.Errorf("with %v it is not released", options)
		}
		for _, zone := range mend.Procedure.On {
			if err := begin(mend.Procedure, mend.Digest(), zone, nil); err != nil {
				return fmt.Errorf("with %v: %w", options, err)
			}
		}
		for _, zone := range design.Sheet.Zones { // every second one is found with another
			seen := []workflow.Sighting{{Finding: "bent", Zone: zone, Severity: steps.Serious}}
			if zone == design.Sheet.Zones[0] {
				seen = append(seen, workflow.Sighting{Finding: "lost", Zone: design.Sheet.Zones[len(design.Sheet.Zones)-1], Severity: steps.Total})
			}
			if err := w.Act(workflow.ReportDamage{Triage: table, Seen: seen}); err != nil {
				return err
			}
			plan, err := w.State.PlanRepair(table, find, w.Now)
			if err != nil {
				return err
			}
			doc, err := procedures.Kept(plan.Procedure)
			if err != nil {
				return err
			}
			if faults := doc.Against(design.Sheet); len(faults) > 0 {
				return faults
			}
			w.Documents.Procedures[doc.Digest()] = doc.Procedure
			var damages []string
			for _, m := range plan.Answers {
				damages = append(damages, m.Damage.Name)
			}
			if err := begin(doc.Procedure, doc.Digest(), "", damages); err != nil {
				return fmt.Errorf("with %v, %v: %w", options, seen, err)
			}
		}
		w.Now = w.Now.Add(72 * time.Hour)
		if err := w.Act(workflow.GiveRelease{}); err != nil {
			return fmt.Errorf("with %v, after all: %w", options, err)
		}
	}
	return nil
}

// writeDocuments writes a design of a few zones and gates, its build, a repair and
// a triage table, by name.
func writeDocuments(t *rapid.T) map[string]string {
	d := drawn{t}
	zones := []string{"nose", "wing", "tail", "radio"}[:2+d.upTo(2)]
	options := []string{"rudder", "camera"}[:d.upTo(2)]
	some := func() string { return "[" + strings.Join(zones[d.upTo(len(zones)-1):], ", ") + "]" }

	var sheet strings.Builder
	write := func(b *strings.Builder, format string, args ...any) { fmt.Fprintf(b, format+"\n", args...) }
	write(&sheet, "design: wren\ntitle: Wren\nrevision: 1\nzones: [%s]", strings.Join(zones, ", "))
	for i, o := range options {
		if i == 0 {
			write(&sheet, "options:")
		}
		write(&sheet, "  %s: A %s", o, o)
	}
	write(&sheet, `conditions:
  propeller: {title: The propeller, states: [off, on]}
  ventilation: {title: A window open, states: [on, off], lasts: sitting}
  iron: {title: The film iron, states: [cold, hot]}
adhesives:
  contact:
    title: Contact adhesive
    window: {from: %d min, to: %d min, at: 20 °C}
    handling: %d min
    cure: 24 h
    works: {between: [10 °C, 35 °C]}
  epoxy:
    title: Epoxy
    window: {from: 0 min, to: %d min, at: 20 °C}
    handling: 4 h
    cure: 24 h
    works: {between: [10 °C, 35 °C]}
    mixed: %s
gauges:
  rule: {title: Steel rule, resolution: 0.5 mm, repeatability: 0.4 mm, uncertainty: 0.5 mm}
gates:`, 5+d.upTo(10), 30+d.upTo(60), 20+d.upTo(60), 20+d.upTo(60), d.word("yes", "no"))
	var gates, governed []string
	for i := range 1 + d.upTo(3) {
		only := i > 0 && len(options) > 0 && d.upTo(3) == 0 // the first is on every airframe
		if name := fmt.Sprintf("g%d", i); only {
			governed = append(governed, name)
		} else {
			gates = append(gates, name)
		}
		write(&sheet, "  g%d:\n    title: Gate %d\n    gauge: rule", i, i)
		if only {
			write(&sheet, "    with: %s", options[0])
		}
		kinds := 3
		if i == 0 {
			kinds = 2
		}
		switch d.upTo(kinds) {
		case 0:
			write(&sheet, "    between: [%d mm, %d mm]\n    of: %s", 10+i, 20+i, some())
		case 1:
			write(&sheet, "    points: [left, right]\n    alike: 4 mm\n    of: %s", some())
		case 2:
			write(&sheet, "    points: [left, right]\n    result: {difference: [left, right]}\n    between: 0 mm ± 5 mm\n    of: %s", some())
		default:
			write(&sheet, "    at_least: 10 mm\n    readings: 2\n    of: work")
			continue
		}
		if i == 0 || d.upTo(1) == 0 {
			write(&sheet, "    critical: yes")
		}
		if d.upTo(3) == 0 {
			write(&sheet, "    needs: {propeller: off}")
		}
	}

	var build strings.Builder
	write(&build, "procedure: wren-build\nkind: build\ndesign: wren\ntitle: Build a Wren\nrevision: 1\nstages:")
	n := 1 + d.upTo(3)
	var stages []string
	for i := range n {
		write(&build, "  - stage: s%d", i)
		if len(stages) > 0 && d.upTo(1) == 0 {
			write(&build, "    after: [%s]", stages[d.upTo(len(stages)-1)])
		}
		stages = append(stages, fmt.Sprintf("s%d", i))
		write(&build, "    steps:")
		d.work(&build, fmt.Sprintf("s%d", i), zones, options, gates, "[%s]")
	}
	write(&build, "  - stage: last\n    after: [%s]\n    steps:", strings.Join(stages, ", "))
	write(&build, "      - {step: stop, do: Stop the propeller., sets: {propeller: off}}")
	for _, g := range gates {
		write(&build, "      - {step: measure-%s, measure: [%s]}", g, g)
	}
	for _, g := range governed {
		write(&build, "      - {step: measure-%s, measure: [%s], with: %s}", g, g, options[0])
	}
	write(&build, "      - {step: release, release: yes}")

	var mend strings.Builder
	write(&mend, "procedure: wren-mend\nkind: repair\ndesign: wren\non: [%s]\ntitle: Mend a Wren\nrevision: 1\nstages:", strings.Join(zones, ", "))
	write(&mend, "  - stage: first\n    phase: safe\n    steps:\n      - {step: stop, do: Stop the propeller., sets: {propeller: off}, shared: yes}")
	write(&mend, "  - stage: fix\n    phase: structure\n    after: [first]\n    steps:")
	write(&mend, "      - {step: cut, do: Cut it out., disturbs: [here]}")
	d.work(&mend, "fix", zones, nil, gates, "[here]")
	write(&mend, "  - stage: again\n    phase: recheck\n    after: [fix]\n    steps:\n      - {step: measure-again, measure: [stale], shared: yes}")

	var crash strings.Builder
	write(&crash, `triage: wren-crash
design: wren
title: What a crash does to a Wren
revision: 1
findings:
  bent: {title: Something bent}
  lost: {title: Something lost}
rows:
  - {finding: lost, %s, why: It is gone.}
  - {finding: bent, %s: wren-mend, why: It must be straight.}
unknown: wren-mend`, d.word("repair: wren-mend", "replace: wren-mend"), d.word("repair", "replace"))
	return map[string]string{"wren": sheet.String(), "wren-build": build.String(), "wren-mend": mend.String(), "wren-crash": crash.String()}
}

// A drawn draws what a document says.
type drawn struct{ t *rapid.T }

func (d drawn) upTo(n int) int { return rapid.IntRange(0, n).Draw(d.t, "n") }

func (d drawn) word(of ...string) string { return rapid.SampledFrom(of).Draw(d.t, "word") }

// work writes the steps of a stage.
func (d drawn) work(b *strings.Builder, stage string, zones, options, gates []string, disturbs string) {
	zone := func() string {
		if disturbs == "[here]" {
			return disturbs
		}
		return fmt.Sprintf(disturbs, zones[d.upTo(len(zones)-1)])
	}
	for i := range 1 + d.upTo(4) {
		name := fmt.Sprintf("%s-%d", stage, i)
		with := ""
		if len(options) > 0 && d.upTo(3) == 0 {
			with = fmt.Sprintf(", %s: %s", d.word("with", "without"), options[d.upTo(len(options)-1)])
		}
		alone := d.word("", "", ", alone: A mirror", ", alone: [A mirror, A video]", ", alone: no, why: It runs.")
		switch d.upTo(7) {
		case 0:
			fmt.Fprintf(b, "      - {step: %s, do: Work., hands: %d min, disturbs: %s%s%s}\n", name, 1+d.upTo(60), zone(), with, alone)
		case 1:
			fmt.Fprintf(b, "      - {step: %s, hold: {confirm: [Gloves are on, Goggles are on]}%s%s}\n", name, with, alone)
		case 2:
			fmt.Fprintf(b, "      - {step: %[1]s-l, do: Spread., hands: 3 min, needs: {ventilation: on}, coat: {joint: %[1]s, with: contact}%[2]s}\n", name, with)
			fmt.Fprintf(b, "      - {step: %[1]s-r, do: Spread., hands: 2 min, coat: {joint: %[1]s, with: contact}%[2]s}\n", name, with)
			fmt.Fprintf(b, "      - {step: %[1]s-j, do: Press., join: %[1]s, disturbs: %[3]s%[2]s}\n", name, with, zone())
			if d.upTo(1) == 0 {
				fmt.Fprintf(b, "      - {step: %[1]s-w, wait: {joint: %[1]s, until: %[3]s}%[2]s}\n", name, with, d.word("handling", "cure"))
			}
		case 3:
			fmt.Fprintf(b, "      - {step: %[1]s, do: Glue., hands: 5 min, glue: {joint: %[1]s, with: epoxy}, disturbs: %[3]s%[2]s}\n", name, with+alone, zone())
		case 4:
			fmt.Fprintf(b, "      - {step: %[1]s, do: Work., disturbs: %[2]s}\n      - {step: %[1]s-w, wait: %[3]d min}\n", name, zone(), 1+d.upTo(90))
		case 5:
			fmt.Fprintf(b, "      - {step: %s-off, do: Propeller off., sets: {propeller: off}}\n      - {step: %[1]s, measure: [%s]%s}\n", name, gates[d.upTo(len(gates)-1)], alone)
		case 6:
			fmt.Fprintf(b, "      - each: {side: [left, right]}\n        steps:\n          - {step: %s-<side>, do: Sand the <side>., disturbs: %s}\n", name, zone())
		default:
			if stage != "s0" && stage != "fix" { // a name can be used once
				fmt.Fprintf(b, "      - {step: %s, do: Look.%s}\n", name, with)
				continue
			}
			fmt.Fprintf(b, "      - use: safe/%s\n", d.word("air-the-bench", "photograph"))
			return
		}
	}
}
