package workflow

import (
	"testing"

	"fettle/steps"
)

// Taking a damage back takes along what rested on it, so that the journal can
// always be replayed.
func TestUndoneDamageTakesItsQuarantineAlong(t *testing.T) {
	b := building(t)
	b.must(ReportDamage{Triage: triage(), Seen: []Sighting{{"dented", "pod", steps.Total, ""}}})
	found := b.state.Size() - 1
	b.refused(ClearQuarantine{Damage: "D1", Answers: []bool{false}}, ByHold)
	b.must(ClearQuarantine{Damage: "D1", Answers: []bool{true}})
	b.must(Undo{Position: found, Reason: "another airframe"})
	if len(b.state.Damages) != 0 || b.state.Live(found+1) {
		t.Errorf("left are %d damages; the clearing is live: %v", len(b.state.Damages), b.state.Live(found+1))
	}
	// The name is never given twice.
	b.must(ReportDamage{Triage: triage(), Seen: []Sighting{{"cracked", "wing", steps.Slight, ""}}})
	if d := b.state.Damages[0]; d.Damage != "D2" {
		t.Errorf("the next damage is %s", d.Damage)
	}
}
