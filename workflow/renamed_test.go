package workflow

import (
	"slices"
	"testing"
	"time"

	"fettle/steps"
)

// renamed is the build with the step called otherwise, as another kind of step
// where one is given.
func renamed(from, to string, kind steps.Kind) *steps.Procedure {
	p := build()
	p.Revision++
	p.Changes = []steps.Change{{Revision: 1, Text: "The first one."}, {Revision: 2, Text: "A plainer name."}}
	for i := range p.Stages {
		for k := range p.Stages[i].Steps {
			if s := &p.Stages[i].Steps[k]; s.Name == from {
				s.Name, s.Was = to, from
				if kind != "" {
					s.Kind = kind
				}
			}
		}
	}
	return p
}

func TestARenamedStepStaysDone(t *testing.T) {
	b := building(t)
	b.done("propeller-off", "coat-left")
	coat := b.state.Size() - 1
	b.done("coat-right")
	newer := renamed("coat-left", "spread-left", "")
	changes, err := b.state.Changes(MoveJob{Job: b.state.Jobs[0].ID, Procedure: newer, Digest: "sha256:newer-build", Sheet: sheet(), SheetDigest: sheetSum}, b.now)
	if err != nil {
		t.Fatal(err)
	}
	var said []string
	for _, c := range changes {
		said = append(said, c.What.Text)
	}
	want := []string{"revision 2 of the procedure: A plainer name.", "step coat-left is called spread-left now, and stays done"}
	if !slices.Equal(said, want) {
		t.Errorf("the changes are %q", said)
	}
	b.moved(newer, sheet())
	if r := b.step("spread-left"); r.Progress != Done {
		t.Errorf("spread-left is %s: %v", r.Progress, r.Reasons)
	}
	b.after(15 * time.Minute)
	b.done("join-roots")
	joined := b.state.Size() - 1
	b.must(Undo{Position: coat})
	if b.state.Live(joined) {
		t.Error("the coat under its former name was taken back, and the join on it stands")
	}
	if r := b.step("spread-left"); r.Progress == Done {
		t.Error("spread-left is done without its coat")
	}
}

func TestARenamedStepOfAnotherKindIsNew(t *testing.T) {
	b := building(t)
	b.done("propeller-off")
	b.moved(renamed("propeller-off", "propeller-away", steps.Hold), sheet())
	if r := b.step("propeller-away"); r.Progress == Done {
		t.Error("a hold is done because a plain step was")
	}
}
