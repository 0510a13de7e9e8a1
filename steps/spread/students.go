package spread

import (
	"math"

	"gonum.org/v1/gonum/mathext"
)

// The distributions by the functions that they come down to: gonum's distuv has them too, which the tests hold these against,
// and links its matrices with them.

// studentsCDF is the share of Student's distribution that lies below x.
func studentsCDF(x, freedom float64) float64 {
	tail := mathext.RegIncBeta(freedom/2, 0.5, freedom/(freedom+x*x)) / 2
	if x > 0 {
		return 1 - tail
	}
	return tail
}

// studentsQuantile is below which share p of Student's distribution lies, which is more than a half.
func studentsQuantile(p, freedom float64) float64 {
	at := mathext.InvRegIncBeta(freedom/2, 0.5, 2*(1-p))
	return math.Sqrt(freedom * (1 - at) / at)
}

// chiSquaredQuantile is below which share p of the distribution of chi-squared lies.
func chiSquaredQuantile(p, freedom float64) float64 {
	return 2 * mathext.GammaIncRegInv(freedom/2, p)
}
