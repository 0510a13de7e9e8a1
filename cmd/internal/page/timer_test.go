package page_test

import (
	"testing"
	"time"

	"fettle/cmd/internal/page"
	"fettle/workflow"
)

// What a clock says counts, and calls for somebody where something is to be done.
func TestClockWords(t *testing.T) {
	opens := time.Date(2026, 3, 3, 19, 10, 0, 0, time.Local)
	wait := workflow.Timer{Name: "grip", Then: "press", Opens: opens, Closes: opens.Add(10 * time.Minute)}
	wet := workflow.Timer{Name: "roots", Joint: true, Phase: workflow.Tacking, Opens: opens, Closes: opens.Add(30 * time.Minute), Touch: opens.Add(5 * time.Minute)}
	for _, test := range []struct {
		timer workflow.Timer
		after time.Duration // that it opens
		words string
		calls bool
	}{
		{workflow.Timer{Name: "roots", Joint: true, Phase: workflow.Coating, Began: opens, Closes: opens.Add(30 * time.Minute)}, 2 * time.Minute, "begun 19:10; join by 19:40, 28 min left", false},
		{wait, -time.Minute, "over in 1 min, at 19:10, then press by 19:20", false},
		{wait, 90 * time.Second, "DO press, 8 min 30 s left, by 19:20", true},
		{wet, 2 * time.Minute, "it was wet; touch it again in 3 min; join by 19:40", false},
		{wet, 6 * time.Minute, "TOUCH IT AGAIN, it was wet; join by 19:40, 24 min left", true},
		{workflow.Timer{Name: "D1", Lies: "battery B2", Opens: opens}, -2 * time.Hour, "battery B2 in quarantine, 2 h to go, until 19:10", false},
		{workflow.Timer{Name: "D1", Lies: "battery B2", Opens: opens}, time.Hour, "battery B2 in quarantine, its lines can be confirmed", false},
	} {
		words, calls := page.ClockWords(test.timer, &page.Clock{Now: opens.Add(test.after)})
		if words != test.words || calls != test.calls {
			t.Errorf("%q, %v; want %q, %v", words, calls, test.words, test.calls)
		}
	}
}
