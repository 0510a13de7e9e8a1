package page

import (
	"strings"
	"testing"
	"time"

	"fettle/workflow"
)

// A step that does not fit in before a joint must be joined is shown with the
// time that is left for the joint.
func TestTheTimeLeftForAJointIsSaid(t *testing.T) {
	now := time.Date(2026, 3, 2, 19, 0, 0, 0, time.UTC)
	s := workflow.Suggestion{Why: "this takes 15 min; joint pod-strips must be joined", JoinBy: now.Add(12 * time.Minute)}
	n := Next{Mark: "CW-01", Step: &Step{Title: "Sand the pod"}, Because: because(s, now)}
	const want = "*This takes 15 min; joint pod-strips must be joined within 12 min.*"
	if text := n.Markdown(Clock{Now: now}); !strings.Contains(text, want) {
		t.Errorf("%q does not say %q", text, want)
	}
	s.JoinBy = time.Time{}
	if got := because(s, now); got != s.Why {
		t.Errorf("without a time it says %q", got)
	}
}
