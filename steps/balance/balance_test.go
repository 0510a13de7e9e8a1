package balance

import (
	"errors"
	"math"
	"math/big"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// The published figures are of two handbooks and a circular of the FAA:
//   - AMT: FAA-H-8083-30B, Aviation Maintenance Technician Handbook, General (2023), chapter 6
//   - PHAK: FAA-H-8083-25, Pilot's Handbook of Aeronautical Knowledge, chapter 10
//   - AC: AC 43.13-1B (8 September 1998), chapter 10
// They are seen in the documents' own text. Pounds and inches, as printed.

func rat(t interface{ Fatal(...any) }, text string) *big.Rat {
	r, ok := new(big.Rat).SetString(strings.ReplaceAll(text, ",", ""))
	if !ok {
		t.Fatal(text)
	}
	return r
}

// loads reads "mass @ arm" or "mass @ arm / side", separated by semicolons.
func loads(t *testing.T, text string) []Load {
	t.Helper()
	var all []Load
	for _, one := range strings.Split(text, "; ") {
		mass, place, ok := strings.Cut(one, " @ ")
		if !ok {
			t.Fatal(one)
		}
		x, y, sideways := strings.Cut(place, " / ")
		l := Load{Mass: rat(t, mass), X: rat(t, x)}
		if sideways {
			l.Y = rat(t, y)
		}
		all = append(all, l)
	}
	return all
}

// prints holds that a value is what is printed, rounded to the digits printed.
func prints(t *testing.T, what string, got *big.Rat, printed string) {
	t.Helper()
	if printed == "" {
		return
	}
	digits := strings.ReplaceAll(printed, ",", "")
	_, places, _ := strings.Cut(digits, ".")
	if is := got.FloatString(len(places)); is != digits {
		t.Errorf("%s is %s, printed as %s", what, got.FloatString(len(places)+3), printed)
	}
}

func station(t *testing.T, total Total) *big.Rat {
	t.Helper()
	x, err := total.Station()
	if err != nil {
		t.Fatal(err)
	}
	return x
}

func TestWeighedPublished(t *testing.T) {
	for _, c := range []struct{ source, scales, mass, moment, at, side string }{
		// Readings less chocks of 2.5, 5 and 5.
		{"AMT fig. 6-26 to 6-28, p. 6-18, on the scales", "222.5 @ -30; 645 @ 70; 635 @ 70", "1,502.5", "82,925", "", ""},
		{"AMT p. 6-16 to 6-19, nose wheel, datum ahead", "340 @ 50; 1666 @ 128", "2,006", "", "114.8", ""},
		{"AMT p. 6-16 to 6-19, nose wheel, datum behind", "340 @ -153; 1666 @ -75", "2,006", "", "-88.2", ""},
		{"AMT p. 6-16 to 6-19, tail wheel, datum ahead", "1151 @ 7.5; 67 @ 229.5", "1,218", "", "19.7", ""},
		{"AMT p. 6-16 to 6-19, tail wheel, datum behind", "1151 @ -80; 67 @ 142", "1,218", "", "-67.8", ""},
		// The text has the side as -0.31, the figure as +.31: by its own moments the text is right.
		{"AMT fig. 6-48 to 6-50", "650 @ 55.16 / -25; 625 @ 55.16 / 25; 710 @ 204.92 / 0", "1,985", "215,822.2", "108.73", "-0.31"},
	} {
		var scales []Scale
		for _, l := range loads(t, c.scales) {
			scales = append(scales, Scale{Reads: l.Mass, X: l.X, Y: l.Y})
		}
		total := Weighed(scales...)
		prints(t, c.source+": the mass", total.Mass, c.mass)
		prints(t, c.source+": the moment", total.Moment, c.moment)
		prints(t, c.source+": it", station(t, total), c.at)
		if c.side != "" {
			side, err := total.Side()
			if err != nil {
				t.Fatal(err)
			}
			prints(t, c.source+": the lateral moment", total.Lateral, "-625")
			prints(t, c.source+": the side", side, c.side)
		}
	}
	// The same with the tares: fuel that can be used taken off (30 gal of 5.9 lb at 95), the
	// unusable put back.
	whole := Weighed(Scale{rat(t, "225"), rat(t, "2.5"), rat(t, "-30"), nil}, Scale{rat(t, "650"), rat(t, "5"), rat(t, "70"), nil},
		Scale{rat(t, "640"), rat(t, "5"), rat(t, "70"), nil})
	empty := whole.Without(Load{rat(t, "177"), rat(t, "95"), nil}).With(Load{rat(t, "6"), rat(t, "98"), nil})
	prints(t, "AMT fig. 6-28: the empty mass", empty.Mass, "1,331.5")
	prints(t, "AMT fig. 6-28: its moment", empty.Moment, "66,698")
	prints(t, "AMT fig. 6-28: it", station(t, empty), "50.1")
}

func TestMomentsPublished(t *testing.T) {
	for _, c := range []struct{ source, parts, mass, moment, at string }{
		{"PHAK fig. 10-3, one side", "50 @ 100", "50", "5,000", "100"},
		{"PHAK fig. 10-4, the other", "100 @ 25; 50 @ 50", "150", "5,000", ""},
		{"PHAK fig. 10-5, p. 10-7", "2100 @ 78.3; 340 @ 85; 350 @ 121; 450 @ 75; 80 @ 150", "3,320", "281,430", "84.8"},
		{"AMT fig. 6-34", "2650 @ 86.80; 180 @ 85.5; 160 @ 118.1; 210 @ 118.1; 190 @ 118.1; 205 @ 155.70; 50 @ 22.5; 100 @ 178.70; 480 @ 93.6", "4,225", "407,387.5", "96.42"},
		{"AMT fig. 6-36, forward", "1850 @ 92.45; 170 @ 82; 170 @ 82; 75 @ 60; 187.5 @ 95", "2,452.5", "221,225.0", "90.20"},
		// The quotient is 99.558, and 99.60 is printed: it holds to one place.
		{"AMT fig. 6-37, aft", "1850 @ 92.45; 170 @ 88; 340 @ 105; 340 @ 125; 100 @ 140; 234 @ 102", "3,034", "302,060.5", "99.6"},
		// Moments are printed, in place of arms; in the first as indices, by 1,000.
		{"PHAK fig. 10-6", "1467 @ 57300/1467; 240 @ 11500/240; 340 @ 12700/340; 300 @ 21800/300; 20 @ 1900/20", "2,367", "105,200", ""},
		{"AMT fig. 6-45", "1400 @ 53900/1400; 180 @ 6000/180; 140 @ 4500/140; 210 @ 15000/210; 100 @ 9200/100; 228 @ 10800/228", "2,258", "99,400", ""},
		// One product is rounded in print, so 16,104.4 is 16,104.
		{"AC fig. 10-10, p. 10-13", "1169 @ 10.6; 17 @ -49; 170 @ 16; 83 @ 22", "1,439", "16,104", "11.2"},
		{"AC fig. 10-14, p. 10-18", "1169 @ 10.6; 17 @ -49; 170 @ 16; 170 @ 48; 170 @ 16; 240 @ 22; 100 @ 75.5", "2,036", "37,988", "18.7"},
		// The quotient is not legible in the copy seen: it is recomputed.
		{"AC fig. 10-11", "1169 @ 10.6; 17 @ -49; 170 @ 16; 340 @ 48; 240 @ 22; 100 @ 75.5", "2,036", "43,428", "21.33"},
	} {
		total := Of(loads(t, c.parts)...)
		prints(t, c.source+": the mass", total.Mass, c.mass)
		prints(t, c.source+": the moment", total.Moment, c.moment)
		prints(t, c.source+": it", station(t, total), c.at)
		if c.source == "AMT fig. 6-34" { // at most 4,200 lb, at most 94.6 in aft
			prints(t, "AMT fig. 6-34: too heavy by", new(big.Rat).Sub(total.Mass, rat(t, "4200")), "25")
			prints(t, "AMT fig. 6-34: too far aft by", new(big.Rat).Sub(station(t, total), rat(t, "94.6")), "1.82")
		}
	}
}

func TestChangesPublished(t *testing.T) {
	at := func(mass, x string) Total { return Of(Load{rat(t, mass), rat(t, x), nil}) }
	from := func(total Total, x string) *big.Rat {
		return new(big.Rat).Sub(station(t, total), rat(t, x))
	}
	shifted := at("8000", "77").Moved(rat(t, "100"), rat(t, "120"))
	prints(t, "PHAK p. 10-10, 100 lb shifted: the change", from(shifted, "77"), "1.5")
	prints(t, "PHAK p. 10-10, 100 lb shifted: it", station(t, shifted), "78.5")
	much, err := at("7800", "81.5").Transfer(rat(t, "150"), rat(t, "30"), rat(t, "80.5"))
	if err != nil {
		t.Fatal(err)
	}
	prints(t, "PHAK p. 10-11, what to shift", much, "65")
	added := at("6860", "80").With(Load{rat(t, "140"), rat(t, "150"), nil})
	prints(t, "PHAK p. 10-11, 140 lb added: the change", from(added, "80"), "1.4")
	prints(t, "PHAK p. 10-11, 140 lb added: it", station(t, added), "81.4")
	// It is rounded twice in print: -1.1667 and 78.833.
	removed := at("6100", "80").Without(Load{rat(t, "100"), rat(t, "150"), nil})
	prints(t, "PHAK p. 10-11, 100 lb removed: the change", from(removed, "80"), "-1.2")
	prints(t, "PHAK p. 10-11, 100 lb removed: it", station(t, removed), "78.8")
	gear := at("3500", "0").Moved(rat(t, "1"), rat(t, "-32"))
	prints(t, "AMT ch. 6, the gear retracted", from(gear, "0"), "-0.009")
}

func TestBallastPublished(t *testing.T) {
	for _, c := range []struct{ source, mass, at, target, ballast, printed string }{
		{"AMT p. 6-22, temporary, of the balance as printed", "3034", "99.6", "99", "60", "46.68"},
		{"AMT p. 6-23, permanent", "1876", "32.2", "33.0", "228", "7.7"},
	} {
		got, err := Of(Load{rat(t, c.mass), rat(t, c.at), nil}).Ballast(rat(t, c.ballast), rat(t, c.target))
		if err != nil {
			t.Fatal(err)
		}
		prints(t, c.source, got, c.printed)
	}
	// The proof, with 47 lb: the table of figure 6-37 has more digits than its printed balance.
	parts := Of(loads(t, "1850 @ 92.45; 170 @ 88; 340 @ 105; 340 @ 125; 100 @ 140; 234 @ 102")...)
	proof := parts.With(Load{rat(t, "47"), rat(t, "60"), nil})
	prints(t, "AMT fig. 6-41: the mass", proof.Mass, "3,081")
	prints(t, "AMT fig. 6-41: the moment", proof.Moment, "304,880.5")
	prints(t, "AMT fig. 6-41: it", station(t, proof), "98.96")
	exact, err := parts.Ballast(rat(t, "60"), rat(t, "99"))
	if err != nil {
		t.Fatal(err)
	}
	prints(t, "the ballast of the balance before it was rounded", exact, "43.45") // recomputed, not published
	put := Of(Load{rat(t, "1876"), rat(t, "32.2"), nil}, Load{rat(t, "7.7"), rat(t, "228"), nil})
	if x := station(t, put); x.Cmp(rat(t, "33")) < 0 {
		t.Errorf("7.7 lb bring it to %s only", x.FloatString(4))
	}
}

func TestImpossible(t *testing.T) {
	t100 := Of(Load{rat(t, "100"), rat(t, "50"), nil})
	for _, c := range []struct {
		what string
		err  error
		ask  func() (*big.Rat, error)
	}{
		{"ballast at the target", ErrAtTarget, func() (*big.Rat, error) { return t100.Ballast(rat(t, "40"), rat(t, "40")) }},
		{"ballast on the wrong side", ErrWrongSide, func() (*big.Rat, error) { return t100.Ballast(rat(t, "60"), rat(t, "40")) }},
		{"ballast between where it is and should be", nil, func() (*big.Rat, error) { return t100.Ballast(rat(t, "30"), rat(t, "40")) }},
		{"nothing", ErrNoMass, func() (*big.Rat, error) { return Of().Station() }},
		{"less than nothing", ErrNoMass, func() (*big.Rat, error) { return Of().Without(Load{rat(t, "1"), nil, nil}).Side() }},
		{"a part of no mass", ErrNoMass, func() (*big.Rat, error) { return t100.Travel(rat(t, "0"), rat(t, "40")) }},
		{"a move to the same place", ErrAtTarget, func() (*big.Rat, error) { return t100.Transfer(rat(t, "1"), rat(t, "1"), rat(t, "40")) }},
		{"a tip on the centre line", ErrAtTarget, func() (*big.Rat, error) { return t100.Level(rat(t, "0")) }},
	} {
		if _, err := c.ask(); !errors.Is(err, c.err) {
			t.Errorf("%s: %v, not %v", c.what, err, c.err)
		}
	}
	if none, err := t100.Ballast(rat(t, "50"), rat(t, "50")); err != nil || none.Sign() != 0 {
		t.Errorf("where it balances already: %v, %v", none, err)
	}
}

// anyLoads are one to eight of them: masses of 1 to 10,000 at stations of ±5,000.
func anyLoads(t *rapid.T) []Load {
	n := rapid.IntRange(1, 8).Draw(t, "n")
	var all []Load
	for i := range n {
		num := func(what string, low, high int64) *big.Rat {
			return big.NewRat(rapid.Int64Range(low, high).Draw(t, what+strconv.Itoa(i)), 8)
		}
		all = append(all, Load{num("mass", 8, 80_000), num("x", -40_000, 40_000), num("y", -40_000, 40_000)})
	}
	return all
}

func TestProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		all := anyLoads(t)
		total := Of(all...)
		x, err := total.Station()
		if err != nil {
			t.Fatal(err)
		}
		same := func(what string, other Total, want *big.Rat) {
			got, err := other.Station()
			if err != nil || got.Cmp(want) != 0 {
				t.Fatalf("%s: %v, not %v (%v)", what, got, want, err)
			}
		}
		change := func(of func(Load) Load) Total {
			var other []Load
			for _, l := range all {
				other = append(other, of(l))
			}
			return Of(other...)
		}
		by := big.NewRat(rapid.Int64Range(-1000, 1000).Draw(t, "by"), 7)
		factor := big.NewRat(rapid.Int64Range(1, 1000).Draw(t, "factor"), 13)
		same("another datum", change(func(l Load) Load { return Load{l.Mass, new(big.Rat).Add(l.X, by), l.Y} }), new(big.Rat).Add(x, by))
		same("all heavier", change(func(l Load) Load { return Load{new(big.Rat).Mul(l.Mass, factor), l.X, l.Y} }), x)
		inches := big.NewRat(10, 254)
		same("pounds and inches", change(func(l Load) Load {
			return Load{new(big.Rat).Quo(l.Mass, big.NewRat(45_359_237, 100_000)), new(big.Rat).Mul(l.X, inches), l.Y}
		}), new(big.Rat).Mul(x, inches))
		order := rapid.Permutation(all).Draw(t, "order")
		same("another order", Of(order...), x)
		same("added and removed", total.With(Load{factor, by, nil}).Without(Load{factor, by, nil}), x)
		target := new(big.Rat).Add(x, by)
		move, err := total.Travel(all[0].Mass, target)
		if err != nil {
			t.Fatal(err)
		}
		same("a part moved as told", total.Moved(all[0].Mass, move), target)
		at := new(big.Rat).Add(target, by)
		ballast, err := total.Ballast(at, target)
		switch {
		case by.Sign() == 0:
		case err != nil: // beyond the target, on its far side from here, it always works
			t.Fatal(err)
		default:
			same("ballast as told", total.With(Load{ballast, at, nil}), target)
		}
		out := new(big.Rat).Abs(factor)
		level, err := total.Level(out)
		if err != nil {
			t.Fatal(err)
		}
		side := out
		if level.Sign() < 0 {
			side = new(big.Rat).Neg(out)
		}
		if left := total.With(Load{new(big.Rat).Abs(level), nil, side}).Lateral; left.Sign() != 0 {
			t.Fatalf("levelled, and %v is left", left)
		}
	})
}

// An aircraft of 600 ± 3 g is weighed at 60 ± 1.17 mm; then things of ± 3 g change, at
// stations of ± 1 mm. Worked by hand with the law of propagation (JCGM 100:2008, 5.1.2,
// from memory); there is no published case.
func TestAfterAWeighing(t *testing.T) {
	w := Weighing{Mass: rat(t, "600"), X: rat(t, "60"), U: 1.17, UMass: 3}
	at := func(x string) *Place { return &Place{rat(t, x), 1} }
	for _, c := range []struct {
		what       string
		changes    []Change
		x          string
		u, uOfMass float64
	}{
		{"nothing", nil, "60.0", 1.17, 3},
		// x = (36000+42*310)/642 = 76.36; the weighing 600/642*1.17 = 1.093, its mass (60-76.36)/642*3
		// = 0.0764, what was added (310-76.36)/642*3 = 1.092 and 42/642 = 0.065.
		{"42 g fitted at 310", []Change{{rat(t, "42"), 3, nil, at("310")}}, "76.4", 1.548, 4.243},
		// x = (36000+150*150)/450 = 130; 600/450*1.17 = 1.56, 70/450*3 = 0.467, 280/450*3 = 1.867, 150/450 = 0.333.
		{"150 g taken off at -150", []Change{{rat(t, "150"), 3, at("-150"), nil}}, "130.0", 2.500, 4.243},
		// x = (36000+150*50)/600 = 72.5; 1.17, 12.5/600*3 = 0.0625, 50/600*3 = 0.25, twice 150/600 = 0.25.
		{"150 g moved from -150 to -100", []Change{{rat(t, "150"), 3, at("-150"), at("-100")}}, "72.5", 1.249, 3},
	} {
		prints(t, c.what, station(t, w.After(c.changes...)), c.x)
		if u, m := w.Uncertainty(c.changes...); math.Abs(u-c.u) > 0.001 || math.Abs(m-c.uOfMass) > 0.001 {
			t.Errorf("%s: ± %.4f mm and ± %.3f g, not %.3f and %.3f", c.what, u, m, c.u, c.uOfMass)
		}
	}
	if u, m := w.Uncertainty(Change{rat(t, "600"), 3, at("0"), nil}); !math.IsNaN(u) || !math.IsNaN(m) {
		t.Error("nothing is left, and it balances")
	}
}
