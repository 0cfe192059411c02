package heat

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"
)

// wildTimes is how many times the median estimate of the noise a distance may be
// and still count for it.
const wildTimes = 6

// differenceNoise estimates the noise of readings as their scatter about the
// straight line through their two neighbours, which a slow trend does not enter
// (T. Gasser, L. Sroka and C. Jennen-Steinmetz, Biometrika 73 (1986) 625). Distances
// beyond 6 times what their median stands for are left out, so that a few wild
// readings do not pass for noise. NaN for fewer than three readings. Noise that lasts
// over several readings is not seen by it.
func differenceNoise(t, y []float64) float64 {
	deviations := fromNeighbours(t, y)
	limit := wildTimes * medianNoise(deviations)
	sum, n := 0.0, 0
	for _, d := range deviations {
		if limit == 0 || math.Abs(d) <= limit {
			sum, n = sum+d*d, n+1
		}
	}
	return math.Sqrt(sum / float64(n))
}

// fromNeighbours returns how far readings lie from the line through their
// neighbours, scaled so that their scatter is that of the readings.
func fromNeighbours(t, y []float64) []float64 {
	var out []float64
	for i := 1; i+1 < len(y); i++ {
		a := (t[i+1] - t[i]) / (t[i+1] - t[i-1])
		b := 1 - a
		out = append(out, (a*y[i-1]+b*y[i+1]-y[i])/math.Sqrt(a*a+b*b+1))
	}
	return out
}

// roundingNoise is the standard uncertainty of readings given in steps,
// step/sqrt(12) (JCGM 100:2008, F.2.2.1). Where values recur, the step is the least
// distance of two different ones, as of a sensor that resolves no more; else the last
// decimal place that the readings are given to. 0 where there is neither.
func roundingNoise(y []float64) float64 {
	sorted := slices.Sorted(slices.Values(y))
	step, different := math.Inf(1), 1
	for i := 1; i < len(sorted); i++ {
		if d := sorted[i] - sorted[i-1]; d > 1e-9*math.Max(1, math.Abs(sorted[i])) {
			step, different = math.Min(step, d), different+1
		}
	}
	if different > len(y)/2 || different == 1 {
		step = decimalStep(y)
	}
	return step / math.Sqrt(12)
}

// decimalStep is the power of ten that all values are multiples of; 0 for none down
// to 1e-6.
func decimalStep(y []float64) float64 {
	for places := range 7 {
		scale := math.Pow10(places)
		if !slices.ContainsFunc(y, func(v float64) bool { return math.Abs(v*scale-math.Round(v*scale)) > 1e-7*math.Max(1, math.Abs(v)) }) {
			return 1 / scale
		}
	}
	return 0
}

// lagCorrelation is the correlation of neighbouring residuals.
func lagCorrelation(r []float64) float64 {
	var products, squares float64
	for i, v := range r {
		squares += v * v
		if i > 0 {
			products += v * r[i-1]
		}
	}
	if squares == 0 {
		return 0
	}
	return products / squares
}

// inflation is by how much neighbours that err alike widen the uncertainty of a
// fit: sqrt((1+r)/(1-r)), as for readings of a first-order autoregressive noise
// (JCGM 100:2008, 4.2.7, asks for it to be considered; the factor is G. E. P. Box
// and G. M. Jenkins, Time Series Analysis, from memory, not verified). 1 where r is
// within what chance gives n readings.
func inflation(r float64, n int) float64 {
	if r <= 2/math.Sqrt(float64(n)) {
		return 1
	}
	r = math.Min(r, 0.98)
	return math.Sqrt((1 + r) / (1 - r))
}

// significance is the level of the tests below: one in ten thousand, low, since
// the tests are made on curves that are not straight in their parameters.
const significance = 1e-4

// better reports whether a model with more parameters explains more than chance
// would: Fisher's F of the two sums of squares, with the degrees of freedom cut by
// the factor that neighbouring residuals err alike. floor is a sum of squares
// below which differences are rounding.
func better(simple, rich sumOfSquares, floor, correlation float64) bool {
	return betterAt(significance, simple, rich, floor, correlation)
}

func betterAt(level float64, simple, rich sumOfSquares, floor, correlation float64) bool {
	if simple.sum <= floor {
		return false
	}
	share := math.Pow(inflation(correlation, rich.freedom+rich.parameters), -2)
	extra := float64(rich.parameters - simple.parameters)
	freedom := float64(rich.freedom) * share
	if freedom < 1 || extra <= 0 {
		return false
	}
	f := (simple.sum - rich.sum) * share / extra / (math.Max(rich.sum, floor) * share / freedom)
	return f > 0 && distuv.F{D1: extra, D2: freedom}.Survival(f) < level
}

// sumOfSquares is what a model leaves.
type sumOfSquares struct {
	sum                 float64
	parameters, freedom int
}

// aicc is Akaike's criterion corrected for few readings, of least squares; less is
// better (C. M. Hurvich and C.-L. Tsai, Biometrika 76 (1989) 297).
func (s sumOfSquares) aicc(floor float64) float64 {
	n, k := float64(s.freedom+s.parameters), float64(s.parameters+1)
	if n-k-1 <= 0 {
		return math.Inf(1)
	}
	return n*math.Log(math.Max(s.sum, floor)/n) + 2*k + 2*k*(k+1)/(n-k-1)
}
