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
	return quantile(p, freedom, studentsCDF)
}

// chiSquaredCDF is the share of the distribution of chi-squared that lies below x: the series of the incomplete gamma function
// (Abramowitz and Stegun, 6.5.29), with Stirling's (6.1.41) where the logarithm of a factorial is large, and so not exact.
func chiSquaredCDF(x, freedom float64) (share float64) {
	a, half := freedom/2, x/2
	log := a*math.Log(half/a) - (half - a)
	if a < 30 {
		gamma, _ := math.Lgamma(a + 1)
		log += a*math.Log(a) - a - gamma
	} else {
		log -= math.Log(2*math.Pi*a)/2 + 1/(12*a) - 1/(360*a*a*a) + 1/(1260*a*a*a*a*a)
	}
	term := math.Exp(log)
	if term == 0 && half > a {
		return 1
	}
	for k := a + 1; term > share*1e-17; k++ {
		share += term
		term *= half / k
	}
	return share
}

// chiSquaredQuantile is below which share p of the distribution of chi-squared lies.
func chiSquaredQuantile(p, freedom float64) float64 {
	return quantile(p, freedom, chiSquaredCDF)
}

// quantile is which positive x has the share p below it, by halving: gonum's inverse functions are another 45 KB of the program.
func quantile(p, freedom float64, share func(x, freedom float64) float64) float64 {
	low, high := 0.0, 1.0
	for share(high, freedom) < p {
		low, high = high, 2*high
	}
	for {
		x := (low + high) / 2
		switch {
		case x <= low || x >= high:
			return high
		case share(x, freedom) < p:
			low = x
		default:
			high = x
		}
	}
}
