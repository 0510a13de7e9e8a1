package workflow

import (
	"errors"
	"strings"
	"testing"

	"fettle/steps"
)

// A loss that the documents have no way to make good is refused with every cause, and
// the airframe stays grounded.
func TestALossThatNothingMakesGoodIsRefused(t *testing.T) {
	table := &steps.Triage{Findings: []steps.Finding{{Name: "cracked"}}, Rows: []steps.Row{{Findings: []string{"cracked"}, Severities: []string{steps.Total}, Outcome: steps.ToRebuild}}}
	off := &steps.Procedure{Name: "off", Kind: steps.Repair, Stages: []steps.Stage{{Name: "off", Steps: []steps.Step{
		{Name: "unplug", Kind: steps.Do, Sets: []steps.Setting{{Condition: "battery", State: "out"}}},
		{Name: "scrap", Kind: steps.Hold, Confirm: []string{"It is scrap"}, Retires: []string{steps.Here}},
	}}}}
	bare := build()
	for _, stage := range bare.Stages {
		for i := range stage.Steps {
			stage.Steps[i].Makes = nil
		}
	}
	for name, c := range map[string]struct {
		build *steps.Procedure
		lost  string
		want  []string
	}{
		"nothing at all":                      {nil, "", []string{"no build of the design is on record or in the library", "no triage table names a procedure that takes a lost part off"}},
		"a build that says not what it makes": {bare, "off", []string{"plover-build does not say which zones its steps make", "off names the condition battery, which"}},
		"no way to part":                      {build(), "off", []string{"off names the condition battery, which", "join-saddle of plover-build does not say how its joint is parted (apart), to free wing from pod"}},
	} {
		b := newBench(t)
		b.must(ReportDamage{Triage: table, Seen: []Sighting{{Finding: "cracked", Zone: "wing", Severity: steps.Total}}})
		table.Lost = c.lost
		_, err := b.state.PlanRepair(table, func(name string) (*steps.Procedure, error) {
			switch {
			case name == "plover" && c.build != nil:
				return c.build, nil
			case name == "off":
				return off, nil
			}
			return nil, errors.New("there is none")
		}, b.now)
		var refusal *Refusal
		if !errors.As(err, &refusal) {
			t.Fatalf("%s: %v", name, err)
		}
		var says []string
		for _, r := range refusal.Reasons {
			says = append(says, r.Text)
		}
		for _, want := range c.want {
			if !strings.Contains(strings.Join(says, "\n"), want) {
				t.Errorf("%s: it does not say %q, but\n%s", name, want, strings.Join(says, "\n"))
			}
		}
		if len(b.state.OpenDamages(b.now)) != 1 || b.state.Airworthiness(b.now).Released {
			t.Errorf("%s: it is not grounded", name)
		}
	}
}

// A job whose documents are older than the library's is moved to those: no row of a table
// gives a sheet what the newer build names.
func TestALossByAnOlderSheetIsMadeGoodByMoving(t *testing.T) {
	table := &steps.Triage{Lost: "off", Findings: []steps.Finding{{Name: "cracked"}}, Rows: []steps.Row{{Findings: []string{"cracked"}, Outcome: steps.ToRebuild}}}
	older, newer := build(), build()
	for i, stage := range newer.Stages {
		for k := range stage.Steps {
			older.Stages[i].Steps[k].Makes = nil
			stage.Steps[k].Tools = []string{"saw", "plane"}
			if stage.Steps[k].Kind.Traits().Joins {
				stage.Steps[k].Apart = "Cut it."
			}
		}
	}
	b := newBench(t)
	docs := papers()
	docs.Procedures["older"] = older
	b.docs = &docs
	b.must(Start{Procedure: older, Digest: "older", Sheet: b.state.Sheet, SheetDigest: b.state.SheetDigest})
	b.must(ReportDamage{Triage: table, Seen: []Sighting{{Finding: "cracked", Zone: "wing", Severity: steps.Total}}})
	_, err := b.state.PlanRepair(table, func(name string) (*steps.Procedure, error) {
		if name == "off" {
			return &steps.Procedure{Name: "off", Kind: steps.Repair, Stages: []steps.Stage{{Name: "off", Steps: []steps.Step{{Name: "scrap", Kind: steps.Do, Retires: []string{steps.Here}}}}}}, nil
		}
		return newer, nil
	}, b.now)
	var refusal *Refusal
	if !errors.As(err, &refusal) || len(refusal.Reasons) != 1 || refusal.Reasons[0].Remedy.Kind != ToMoveJob ||
		!strings.Contains(refusal.Reasons[0].Text, "plover-build names the tool saw, the tool plane, which plover does not have") {
		t.Errorf("it says %+v", err)
	}
}

// Whatever stands in the way of a plan is said at once.
func TestEveryCauseOfARefusalIsSaid(t *testing.T) {
	table := &steps.Triage{Lost: "off", Findings: []steps.Finding{{Name: "cracked"}, {Name: "dented"}, {Name: "torn"}}, Rows: []steps.Row{
		{Findings: []string{"cracked"}, Outcome: steps.ToRepair, Procedure: "gone"},
		{Findings: []string{"dented"}, Outcome: steps.ToRepair, Procedure: "wing-only"},
		{Findings: []string{"torn"}, Outcome: steps.ToRebuild},
	}}
	b := newBench(t)
	seen := func(finding, zone string) Sighting {
		return Sighting{Finding: finding, Zone: zone, Severity: steps.Serious}
	}
	b.must(ReportDamage{Triage: table, Seen: []Sighting{seen("cracked", "wing"), seen("cracked", "tail"), seen("dented", "pod"), seen("dented", "tail"), seen("torn", "wing")}})
	find := func(name string) (*steps.Procedure, error) {
		if name == "wing-only" {
			return &steps.Procedure{Name: name, Kind: steps.Repair, On: []string{"wing"}}, nil
		}
		return nil, errors.New("no procedure " + name)
	}
	for _, c := range []struct {
		only []string
		want []string
	}{
		{[]string{"D1", "D2"}, []string{"the answer to D1: no procedure gone", "the answer to D2: no procedure gone"}},
		{nil, []string{"to D1", "to D2", "wing-only, the answer to D3, does not cover zone pod", "the answer to D4, does not cover zone tail", "the lost wing cannot be made anew"}},
	} {
		_, err := b.state.PlanRepair(table, find, b.now, c.only...)
		if err == nil {
			t.Fatal("there is a plan")
		}
		says := err.Error()
		var refusal *Refusal
		if errors.As(err, &refusal) {
			for _, r := range refusal.Reasons {
				says += "\n" + r.Text
			}
		}
		for _, want := range c.want {
			if !strings.Contains(says, want) {
				t.Errorf("it does not say %q, but\n%s", want, says)
			}
		}
	}
}
