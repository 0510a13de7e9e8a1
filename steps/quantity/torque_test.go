package quantity

import (
	"math/big"
	"testing"
)

// NIST SP 811 (2008) appendix B.8 prints 7.061 552 E-03 N·m for the ounce (force)
// inch and 1.129 848 E-01 N·m for the pound (force) inch; the exact values are
// lbf · 0.0254 m, with lbf = 4.4482216152605 N.
func TestTorque(t *testing.T) {
	for text, want := range map[string]string{
		"1 lbf·in": "0.1129848290276167", "16 ozf·in": "0.1129848290276167", "1 ozf.in": "0.00706155181422604375",
		"2 N·m": "2", "2 Nm": "2", "2 N.m": "2", "2 N⋅m": "2", "2N*m": "2", "35 N·cm": "0.35", "35 Ncm": "0.35", "1 lbfin": "0.1129848290276167", "1 ozf*in": "0.00706155181422604375",
	} {
		q, err := Parse(text, Torque)
		if err != nil {
			t.Errorf("%s: %v", text, err)
			continue
		}
		r, err := q.Rat("N·m")
		if err != nil || r.Cmp(rat(t, want)) != 0 {
			t.Errorf("%s is %v N·m, %v; want %s", text, r, err, want)
		}
		if again, err := Parse(q.String(), Torque); err != nil || again.Cmp(q) != 0 {
			t.Errorf("%s is printed as %s, which is read as %v, %v", text, q, again, err)
		}
	}
	for _, text := range []string{"2 nm", "2 ncm", "2 N·", "2 ·m", "2 N·kg", "2 N"} {
		if q, err := Parse(text, Torque); err == nil {
			t.Errorf("%s was taken as %s", text, q)
		}
	}
}

func rat(t *testing.T, text string) *big.Rat {
	t.Helper()
	r, ok := new(big.Rat).SetString(text)
	if !ok {
		t.Fatal(text)
	}
	return r
}
