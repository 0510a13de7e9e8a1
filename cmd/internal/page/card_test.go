package page

import (
	"slices"
	"testing"

	"fettle/steps"
	"fettle/workflow"
)

// A throw with a run gives 7 to 10 m/s: what it lacks is asked of the wind, rounded up, of all
// that no bungee and no wheels start.
func TestWhatAThrowLacksIsAskedOfTheWind(t *testing.T) {
	for _, test := range []struct {
		launch string
		speed  float64
		want   string // "": nothing is asked
	}{
		{steps.ByHand, 9, ""},
		{steps.ByHand, 9.01, "a throw gives at most 9 m/s: thrown, it wants 0.1 m/s of wind from ahead, else a bungee or less mass"},
		{steps.ByHand, 12.41, "a throw gives at most 9 m/s: thrown, it wants 3.5 m/s of wind from ahead, else a bungee or less mass"},
		{"", 10, "a throw gives at most 9 m/s: thrown, it wants 1 m/s of wind from ahead, else a bungee or less mass"},
		{steps.ByBungee, 12, ""},
		{steps.OnWheels, 12, ""},
	} {
		c := Card{Launch: test.launch, Figures: []CardFigure{{Name: workflow.LaunchFigure, Value: &test.speed}}}
		c.cautions(workflow.Card{}, nil)
		var want []string
		if test.want != "" {
			want = []string{test.want}
		}
		if !slices.Equal(c.Cautions, want) {
			t.Errorf("%q at %g m/s: %q, want %q", test.launch, test.speed, c.Cautions, want)
		}
	}
}
