package spread

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"
)

// The distributions are those of gonum's distuv, and of tables: Student's quantile of 97.5 % and that of chi-squared of 2.5 and
// 97.5 %, of 5 and 10 degrees of freedom, in NIST/SEMATECH e-Handbook 1.3.6.7.2 and 1.3.6.7.4 (from memory).
func TestDistributions(t *testing.T) {
	near := func(what string, got, want, within float64) {
		t.Helper()
		if !(math.Abs(got-want) <= within*max(1, math.Abs(want))) {
			t.Errorf("%s is %v, want %v", what, got, want)
		}
	}
	for freedom := 1.0; freedom < 200; freedom += 7 {
		students, chi := distuv.StudentsT{Sigma: 1, Nu: freedom}, distuv.ChiSquared{K: freedom}
		for x := -8.0; x <= 8; x += 0.5 {
			near("a share of Student's", studentsCDF(x, freedom), students.CDF(x), 1e-14)
		}
		for _, p := range []float64{0.51, 0.9, 0.975, 0.97725, 0.999} {
			near("a quantile of Student's", studentsQuantile(p, freedom), students.Quantile(p), 1e-12)
			near("a quantile of chi-squared", chiSquaredQuantile(p, freedom), chi.Quantile(p), 1e-12)
			near("another", chiSquaredQuantile(1-p, freedom), chi.Quantile(1-p), 1e-12)
		}
	}
	near("Student's", studentsQuantile(0.975, 5), 2.571, 0.0005)
	near("Student's", studentsQuantile(0.975, 10), 2.228, 0.0005)
	near("chi-squared", chiSquaredQuantile(0.025, 10), 3.247, 0.0005)
	near("chi-squared", chiSquaredQuantile(0.975, 5), 12.833, 0.0005)
}
