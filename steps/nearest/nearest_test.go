package nearest

import "testing"

func TestOf(t *testing.T) {
	known := []string{"left-boom", "right-boom", "wing", "CW-01", "SK-02"}
	for _, c := range []struct{ name, want string }{
		{"left-bom", "left-boom"},
		{"wnig", "wing"},
		{"wimg", "wing"},
		{"cw-01", "CW-01"},
		{"CW-10", "CW-01"},
		{"propeller", ""},
		{"aaaa-boom", "left-boom"}, // four letters of nine differ
		{"aaaa-boam", ""},
		{"wxyz", ""},
		{"wiyz", "wing"},
		{"SK-01", "SK-02"}, // two letters from CW-01, and one from this
		{"", ""},
	} {
		if got := Of(c.name, known); got != c.want {
			t.Errorf("Of(%q) = %q, want %q", c.name, got, c.want)
		}
	}
}

// The worked example every text on the Levenshtein distance gives.
func TestDistance(t *testing.T) {
	if d := distance([]rune("kitten"), []rune("sitting")); d != 3 {
		t.Errorf("distance = %d, want 3", d)
	}
}
