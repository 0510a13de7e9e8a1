package measuring

import "testing"

// A check is judged by the guard band that readings are judged with: the
// uncertainty, or 2·d/√12 of the resolution where that is more.
func TestCheck(t *testing.T) {
	for _, c := range []struct {
		name, resolution, u, reads, of string
		good                           bool
		found                          string
	}{
		{"true", "0.01 mm", "0.03 mm", "10 mm", "10 mm", true, "reading true, within ±0.03 mm"},
		{"at its very uncertainty", "0.01 mm", "0.03 mm", "10.03 mm", "10 mm", true, "reading 0.03 mm too high, within ±0.03 mm"},
		{"as far below", "0.01 mm", "0.03 mm", "9.97 mm", "10 mm", true, "reading 0.03 mm too low, within ±0.03 mm"},
		{"a step more", "0.01 mm", "0.03 mm", "10.04 mm", "10 mm", false, "reading 0.04 mm too high, outside ±0.03 mm"},
		{"by the resolution alone", "0.5 mm", "", "100.5 mm", "100 mm", false, "reading 0.5 mm too high, outside ±0.2887 mm"},
		{"the resolution is coarser than what is claimed", "1 g", "0.1 g", "100.5 g", "100 g", true, "reading 0.5 g too high, within ±0.5774 g"},
		{"a drill in inches", "0.01 mm", "0.03 mm", "6.36 mm", "1/4 in", true, "reading 0.01 mm too high, within ±0.03 mm"},
		{"read in inches", "0.01 mm", "0.03 mm", "0.252 in", "1/4 in", false, "reading 0.0508 mm too high, outside ±0.03 mm"},
		{"temperatures differ by a size, not a point", "1 °C", "2 °C", "216 °F", "212 °F", false, "reading 2.2222 °C too high, outside ±2 °C"},
		{"by next to nothing", "0.01 mm", "0.03 mm", "0.3937 in", "10 mm", true, "reading less than 0.0001 mm too low, within ±0.03 mm"},
		{"without a resolution", "", "0.03 mm", "10.03 mm", "10 mm", true, "reading 0.03 mm too high, within ±0.03 mm"},
		{"without a resolution, a step more", "", "0.03 mm", "10.04 mm", "10 mm", false, "reading 0.04 mm too high, outside ±0.03 mm"},
		{"of another kind", "1 g", "1 g", "10 mm", "10 g", false, "reading something else"},
	} {
		d := Doubt{Resolution: q(t, c.resolution), Uncertainty: q(t, c.u)}
		got := d.Check(q(t, c.reads), q(t, c.of))
		if got.Good != c.good || got.Found() != c.found {
			t.Errorf("%s: good %v, %q; want %v, %q", c.name, got.Good, got.Found(), c.good, c.found)
		}
	}
}

func TestShows(t *testing.T) {
	for _, c := range []struct {
		resolution, value string
		want              bool
	}{
		{"0.01 mm", "10.02 mm", true}, {"0.01 mm", "10.025 mm", true}, {"0.01 mm", "10.023 mm", false},
		{"0.5 mm", "99.5 mm", true}, {"0.5 mm", "99.75 mm", true}, {"0.5 mm", "99.7 mm", false}, {"0.5 mm", "4.63 mm", false},
		{"0.02 mm", "0 mm", true}, {"0.02 mm", "3.01 mm", true}, {"0.02 mm", "3.005 mm", false}, {"1 g", "100.5 g", true}, {"1 g", "100.2 g", false},
		{"0.5 mm", "-1.5 mm", true}, {"0.5 mm", "-1.6 mm", false}, {"0 mm", "1.23 mm", true}, {"", "1.23 mm", true},
		// 3/16 in is 4.7625 mm, 1/64 in 0.397 mm, 0.01 in 0.254 mm, 0.0005 in 0.0127 mm.
		{"0.5 mm", "3/16 in", true}, {"0.5 mm", "0.1875 in", true}, {"0.5 mm", "11/64 in", true}, {"0.5 mm", "5/128 in", false}, {"0.5 mm", "4.7625 mm", false},
		{"0.5 mm", "0.19 in", true}, {"0.5 mm", "0.187 in", false}, {"1 mm", "11/64 in", false}, {"0.01 mm", "0.2505 in", true}, {"0.01 mm", "0.25055 in", false},
		{"0.5 mm", "0.45 cm", true}, {"0.5 mm", "0.463 cm", false}, {"0.5 mm", "4630 µm", false}, {"0.01 V", "11850 mV", true}, {"0.01 V", "11853 mV", false},
		{"1/16 in", "5 mm", true}, {"1/16 in", "4.6 mm", false}, {"1 °C", "225 °F", true}, {"1 °C", "225.5 °F", true}, {"1 °C", "225.7 °F", false}, {"1 °C", "380 K", true},
		{"1 °C", "-3.5 °C", true}, {"0.5 mm", "5 g", true}, // which another rule refuses
	} {
		if got := (Doubt{Resolution: q(t, c.resolution)}).Shows(q(t, c.value)); got != c.want {
			t.Errorf("steps of %s show %s: %v", c.resolution, c.value, got)
		}
	}
}
