package measuring

import (
	"fmt"
	"math"
	"math/big"
	"strconv"
	"strings"
	"testing"

	"gonum.org/v1/gonum/mat"
	"pgregory.net/rapid"

	"fettle/steps/quantity"
)

// FAA-H-8083-30B, Aviation Maintenance Technician Handbook, General (2023), chapter 6: seen in
// the source. Each scale is "name station tare reading", in inches and pounds.
func TestScalesPublished(t *testing.T) {
	for _, c := range []struct {
		source, function string
		scales           []string
		sum, moment, at  string // as printed; "": not printed
		low, high        string
	}{
		// What is on the scales before the fuel is taken off; the quotient of it is not printed.
		{"fig. 6-26 to 6-28, page 6-18", Balance, []string{"nose -30 2.5 225", "left 70 5 650", "right 70 5 640"}, "1502.5", "82925", "", "55 in", "56 in"},
		{"pages 6-16 to 6-19, nose wheel, datum ahead", Balance, []string{"nose 50 0 340", "mains 128 0 1666"}, "2006.0", "", "114.8", "110 in", "120 in"},
		{"the same, datum behind the mains", Balance, []string{"nose -153 0 340", "mains -75 0 1666"}, "2006.0", "", "-88.2", "-90 in", "-80 in"},
		{"pages 6-16 to 6-19, tail wheel, datum ahead", Balance, []string{"mains 7.5 0 1151", "tail 229.5 0 67"}, "1218.0", "", "19.7", "15 in", "25 in"},
		{"the same, datum behind", Balance, []string{"mains -80 0 1151", "tail 142 0 67"}, "1218.0", "", "-67.8", "-70 in", "-60 in"},
		{"fig. 6-48 to 6-50, along", Balance, []string{"left 55.16 0 650", "right 55.16 0 625", "third 204.92 0 710"}, "1985.0", "215822.2", "108.73", "100 in", "110 in"},
		// The text has -0.31, the figure +.31: by its own moments the text is right.
		{"fig. 6-48 to 6-50, across", Lateral, []string{"left -25 0 650", "third 0 0 710", "right 25 0 625"}, "1985.0", "-625", "-0.31", "-1 in", "1 in"},
	} {
		rule := Rule{Limits: Limits{Low: q(t, c.low), High: q(t, c.high)}, Result: Result{Function: c.function, Reads: q(t, "0.1 lb")}}
		var points []Point
		for _, text := range c.scales {
			f := strings.Fields(text)
			rule.Result.Of = append(rule.Result.Of, f[0])
			rule.Result.Stations = append(rule.Result.Stations, Station{Point: f[0], At: q(t, f[1]+" in"), Tare: q(t, f[2]+" lb")})
			points = append(points, Point{f[0], []quantity.Quantity{q(t, f[3]+" lb")}})
		}
		doubts := Doubts{Gauges: []Doubt{{Resolution: q(t, "0.1 lb")}}}
		f, err := rule.Judge(points, doubts)
		if err != nil || f.Verdict != In || f.Result.Unit != "in" {
			t.Errorf("%s: %+v %v", c.source, f, err)
			continue
		}
		w, err := rule.Weigh(points, doubts)
		if err != nil || w.Lifted != "" {
			t.Errorf("%s: %+v %v", c.source, w, err)
			continue
		}
		sum, err := w.Sum.Float("lb")
		if err != nil {
			t.Fatal(err)
		}
		for _, is := range []struct {
			what, printed string
			got           float64
		}{{"sum", c.sum, sum}, {"moment", c.moment, sum * f.Result.Value}, {"balance", c.at, f.Result.Value}} {
			_, digits, _ := strings.Cut(is.printed, ".")
			if got := strconv.FormatFloat(is.got, 'f', len(digits), 64); is.printed != "" && got != is.printed {
				t.Errorf("%s: %s is %s, printed %s", c.source, is.what, got, is.printed)
			}
		}
	}
}

// An aircraft that is lifted off and put back on three scales, each time read with errors,
// is weighed more often than its three unknowns ask for: its mass and its moments about
// datum and centre line. What each scale carries follows from the three by the balance of
// forces and moments, so each reading is an equation in them. Their least squares, by
// gonum, are what gates along and across and the sum of the scales come to.
func TestLeastSquares(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		draw := func(what string, from, to int) float64 {
			return float64(rapid.IntRange(from, to).Draw(t, what))
		}
		x := []float64{draw("nose", -400, -50), 0, draw("right", 60, 300)}
		y := []float64{0, -draw("to the left", 80, 400), draw("to the right", 80, 400)}
		x[1] = x[2] - draw("staggered", 0, 40) // the mains, which may stand abreast
		lifts := rapid.IntRange(2, 6).Draw(t, "lifts")

		// Forces and moments: 1, x and y of the scales by what they carry.
		var carries mat.Dense
		if err := carries.Inverse(mat.NewDense(3, 3, append(append([]float64{1, 1, 1}, x...), y...))); err != nil {
			t.Fatal(err)
		}
		equations, readings := mat.NewDense(3*lifts, 3, nil), mat.NewVecDense(3*lifts, nil)
		names, points := []string{"nose", "left", "right"}, make([]Point, 3)
		for i, name := range names {
			points[i].Name = name
			mean := draw("carried by "+name, 100, 900)
			for j := range lifts {
				tenths := 10*int(mean) + rapid.IntRange(-30, 30).Draw(t, fmt.Sprint(name, j))
				read, err := quantity.New(big.NewRat(int64(tenths), 10), "g")
				if err != nil {
					t.Fatal(err)
				}
				points[i].Readings = append(points[i].Readings, read)
				equations.SetRow(3*j+i, mat.Row(nil, i, &carries))
				readings.SetVec(3*j+i, float64(tenths)/10)
			}
		}
		var least mat.VecDense
		if err := least.SolveVec(equations, readings); err != nil {
			t.Fatal(err)
		}
		near := func(what string, got, want float64) {
			if math.Abs(got-want) > 1e-6*(1+math.Abs(want)) {
				t.Fatalf("%s is %v, by least squares %v", what, got, want)
			}
		}
		for row, function := range []string{Balance, Lateral} {
			order, at := []int{0, 1, 2}, x
			if function == Lateral {
				order, at = []int{1, 0, 2}, y
			}
			rule := Rule{Repeat: lifts, Limits: Limits{Low: quantityOf(t, -5000, "mm"), High: quantityOf(t, 5000, "mm")}, Result: Result{Function: function, Reads: quantityOf(t, 1, "g")}}
			var read []Point
			for _, i := range order {
				rule.Result.Of = append(rule.Result.Of, names[i])
				rule.Result.Stations = append(rule.Result.Stations, Station{Point: names[i], At: quantityOf(t, int(at[i]), "mm")})
				read = append(read, points[i])
			}
			doubts := Doubts{Gauges: []Doubt{{Resolution: quantityOf(t, 1, "g")}}}
			f, err := rule.Judge(read, doubts)
			if err != nil || !f.Result.Known {
				t.Fatalf("%s: %+v %v", function, f, err)
			}
			near(function, f.Result.Value, least.AtVec(row+1)/least.AtVec(0))
			w, err := rule.Weigh(read, doubts)
			if err != nil {
				t.Fatal(err)
			}
			sum, err := w.Sum.Float("g")
			if err != nil {
				t.Fatal(err)
			}
			if math.Abs(sum-least.AtVec(0)) > 0.001 { // it is said to a milligram
				t.Fatalf("the scales carry %v g, by least squares %v", sum, least.AtVec(0))
			}
		}
	})
}
