package page

import (
	"math"
	"testing"

	"fettle/steps/measuring"
	"fettle/workflow"
)

// A value near a limit is never rounded onto it or over it.
func TestAValueNearItsLimit(t *testing.T) {
	for _, c := range []struct {
		value, low, high float64
		want             string
	}{
		{10.99, 9, 11, "10.99"},
		{1.95, math.NaN(), 2, "1.95"},
		{2.09996, 1, 2.1, "2.09996"},
		{1.00004, 1, 2, "1.00004"},
		{2.1, 1, 2.1, "2.1"},
		{-0.00001, 0, math.NaN(), "-0.00001"},
	} {
		if got := nearFigures(workflow.Judged{Part: measuring.Part{Value: c.value}, Low: c.low, High: c.high}); got != c.want {
			t.Errorf("%v between %v and %v: %s, want %s", c.value, c.low, c.high, got, c.want)
		}
	}
}
