package term

import (
	"bytes"
	"testing"
)

// A bar fits its terminal, and covers what was drawn before it.
func TestBar(t *testing.T) {
	const whole, half = "########################################", "####################...................."
	for _, c := range []struct {
		columns int
		done    float64
		want    string
	}{
		{60, 0.5, "[" + half + "] 5 min left      "},
		{60, 1, "[" + whole + "] 5 min left      "},
		{60, 7, "[" + whole + "] 5 min left      "},
		{20, 0.5, "[###...] 5 min left"},
		{20, -1, "[......] 5 min left"},
		{14, 0.5, "5 min left   "},
		{6, 0.5, "5 min"},
		{0, 0.5, ""},
	} {
		var out bytes.Buffer
		Streams{Err: &out, Columns: c.columns}.Bar(c.done, "5 min left")
		if got := out.String(); got != "\r"+c.want {
			t.Errorf("%v in %d columns is drawn as %q, want %q", c.done, c.columns, got, c.want)
		}
	}
}
