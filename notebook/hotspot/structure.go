package hotspot

import (
	"fmt"
	"math"

	"dieglow/notebook/radiometry"
)

// structure is what two aligned pictures of one object tell of a shift between them:
// the products of their slopes, less what a change of contrast or level explains.
type structure struct {
	n     float64
	own   [2][2]float64 // slopes of the second picture with themselves, noise included
	first [2][2]float64 // those of the first
	both  [2][2]float64 // of one with the other: noise that is not shared drops out
	plain float64       // sum of squares of the slopes, an even ramp included
}

// newStructure takes the slopes of the pictures smoothed as for their registration,
// by 1 4 6 4 1 along rows and columns.
func newStructure(a, b radiometry.Picture) structure {
	const variables = 6 // slopes of a, slopes of b, a, b
	sa, sb := binomial(a), binomial(b)
	var s structure
	var sum [variables]float64
	var c [variables][variables]float64
	zeroA, zeroB := math.NaN(), math.NaN()
	for y := 1; y < a.Height-1; y++ {
		for x := 1; x < a.Width-1; x++ {
			i, w := y*a.Width+x, a.Width
			v := [variables]float64{(sa[i+1] - sa[i-1]) / 2, (sa[i+w] - sa[i-w]) / 2, (sb[i+1] - sb[i-1]) / 2, (sb[i+w] - sb[i-w]) / 2, sa[i], sb[i]}
			if t := v[0] + v[1] + v[2] + v[3] + v[4] + v[5]; math.IsNaN(t) || math.IsInf(t, 0) {
				continue
			}
			if s.n == 0 {
				zeroA, zeroB = v[4], v[5]
			}
			v[4], v[5] = v[4]-zeroA, v[5]-zeroB
			s.n++
			for j := range v {
				sum[j] += v[j]
				for k := range j + 1 {
					c[j][k] += v[j] * v[k]
				}
			}
		}
	}
	if s.n == 0 {
		return s
	}
	s.plain = math.Max(c[0][0]+c[1][1], c[2][2]+c[3][3])
	for j := range variables {
		for k := range j + 1 {
			c[j][k] -= sum[j] * sum[k] / s.n
			c[k][j] = c[j][k]
		}
	}
	if c[4][5] == 0 {
		return s
	}
	// rest is a product of slopes without what goes along with the pictures themselves.
	rest := func(j, k int) float64 {
		return c[j][k] - c[j][4+j/2]*c[k][4+k/2]/c[4+j/2][4+k/2]
	}
	gain := c[4][5] / c[4][4] // of contrast, below 0 where it is turned over
	for j := range 2 {
		for k := range 2 {
			s.first[j][k], s.own[j][k] = gain*gain*rest(j, k), rest(2+j, 2+k)
			s.both[j][k] = gain * (rest(j, 2+k) + rest(k, 2+j)) / 2
		}
	}
	return s
}

// sharedSlopes is how many pixels share the noise of a slope squared: the sum of the
// squared correlations under a Gaussian of 1 pixel, 2 pi (1 - 1 + 3/4).
const sharedSlopes = 1.5 * math.Pi

// shiftU returns the standard uncertainty of the shift along x and y under a noise,
// that of the difference of the two pictures. Where the slopes are known it is the
// least that any estimate has, the noise's variance times the inverse of the sum of
// their products (Cramer-Rao; S. Kay, Fundamentals of Statistical Signal Processing,
// 1993, section 3.9, from memory); noise in the slopes widens it. why says that
// there is too little structure.
func (s structure) shiftU(noise Noise) (ux, uy float64, why string) {
	m := s.both
	mean, half := (m[0][0]+m[1][1])/2, math.Hypot((m[0][0]-m[1][1])/2, m[0][1])
	angle := math.Atan2(2*m[0][1], m[0][0]-m[1][1])/2 + math.Pi/2 // of the least structure
	least := mean - half
	v := [2]float64{math.Cos(angle), math.Sin(angle)}
	along := func(t [2][2]float64) float64 { return v[0]*v[0]*t[0][0] + 2*v[0]*v[1]*t[0][1] + v[1]*v[1]*t[1][1] }
	chance := math.Sqrt(math.Max(0, along(s.first)*along(s.own)) * sharedSlopes * noise.CorrelatedPx / s.n)
	if !(least > leastProof*chance) || !(least > 1e-9*s.plain) {
		return 0, 0, littleStructure + " outside the spots, at least in one direction"
	}
	det := m[0][0]*m[1][1] - m[0][1]*m[0][1]
	inverse := [2][2]float64{{m[1][1] / det, -m[0][1] / det}, {-m[0][1] / det, m[0][0] / det}}
	u := func(k int) float64 {
		sum := 0.0
		for i := range 2 {
			for j := range 2 {
				sum += inverse[k][i] * s.own[i][j] * inverse[j][k]
			}
		}
		return noise.SD * math.Sqrt(noise.CorrelatedPx*sum)
	}
	if ux, uy = u(0), u(1); math.Max(ux, uy) > mostMovedU {
		return 0, 0, fmt.Sprintf("%s outside the spots: the movement would be uncertain by %.2g pixels", littleStructure, math.Max(ux, uy))
	}
	return ux, uy, ""
}

// binomial smooths by 1 4 6 4 1 along rows and columns; pixels without all of their
// neighbours are missing.
func binomial(p radiometry.Picture) []float64 {
	pass := func(from []float64, step, count int) []float64 {
		out := make([]float64, len(from))
		for i := range from {
			if at := i / step % count; at < 2 || at >= count-2 {
				out[i] = math.NaN()
				continue
			}
			out[i] = (from[i-2*step] + 4*from[i-step] + 6*from[i] + 4*from[i+step] + from[i+2*step]) / 16
		}
		return out
	}
	return pass(pass(p.Pixels, 1, p.Width), p.Width, p.Height)
}
