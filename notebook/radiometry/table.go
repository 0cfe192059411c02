package radiometry

import (
	"math"

	"dieglow/catalog/fault"
)

// Table is a band tabulated over a range of temperatures, for work that needs
// many radiances or temperatures: Monte Carlo trials, or a response of many
// points. Both directions are good to 1e-9 relative. A Table is not changed by
// its methods and may be used by many goroutines.
type Table struct {
	band     *Band
	forward  cubic // ln L over 1/T
	backward cubic // 1/T over ln L
}

// cubic is a piecewise cubic on equal steps; each piece holds the coefficients
// of 1, t, t², t³ with t from 0 to 1.
type cubic struct {
	start, perStep float64
	pieces         [][4]float64
}

// newCubic interpolates n pieces from start to end through the values and
// slopes that at returns.
func newCubic(start, end float64, n int, at func(x float64) (value, slope float64)) cubic {
	h := (end - start) / float64(n)
	c := cubic{start, 1 / h, make([][4]float64, n)}
	y0, d0 := at(start)
	for i := range c.pieces {
		y1, d1 := at(start + float64(i+1)*h)
		rise, a, b := y1-y0, h*d0, h*d1
		c.pieces[i] = [4]float64{y0, a, 3*rise - 2*a - b, a + b - 2*rise}
		y0, d0 = y1, d1
	}
	return c
}

// at returns the value at x and whether x lies in the range.
func (c *cubic) at(x float64) (float64, bool) {
	u := (x - c.start) * c.perStep
	if !(u >= 0 && u < float64(len(c.pieces))) {
		return 0, false
	}
	i := int(u)
	t, p := u-float64(i), &c.pieces[i]
	return p[0] + t*(p[1]+t*(p[2]+t*p[3])), true
}

// worst returns the largest size of error, given a place and the value there,
// in the middle of the pieces.
func (c *cubic) worst(miss func(x, value float64) float64) float64 {
	var worst float64
	for i := range c.pieces {
		x := c.start + (float64(i)+0.5)/c.perStep
		if v, ok := c.at(x); ok {
			worst = math.Max(worst, math.Abs(miss(x, v)))
		}
	}
	return worst
}

const tablePieces = 2048

// Table tabulates the band from lowK to highK. Outside of that the table's
// methods fall back on the band's own. Fault Invalid unless
// MinK <= lowK < highK <= MaxK.
func (b *Band) Table(lowK, highK float64) (*Table, error) {
	if !(lowK >= MinK && lowK < highK && highK <= MaxK) {
		return nil, fault.Invalidf("%g K to %g K is no range of temperatures between %g K and %g K", lowK, highK, MinK, MaxK).WithHint("give the lower temperature first")
	}
	logRadiance := func(v float64) (value, slope float64) {
		s0, s1, x0 := b.sums(1 / v)
		return math.Log(radianceScaleWM2SRK4*s0) - 4*math.Log(v) - x0, -s1 / s0 / v
	}
	t := &Table{band: b, forward: newCubic(1/highK, 1/lowK, tablePieces, logRadiance)}
	least, _ := logRadiance(1 / lowK)
	most, _ := logRadiance(1 / highK)
	t.backward = newCubic(least, most, tablePieces, func(logL float64) (value, slope float64) {
		v := 1 / b.invert(logL)
		_, d := logRadiance(v)
		return v, 1 / d
	})
	return t, nil
}

// Band returns the band the table was made from.
func (t *Table) Band() *Band { return t.band }

// Radiance is Band.Radiance from the table.
func (t *Table) Radiance(tempK float64) float64 {
	if logL, ok := t.forward.at(1 / tempK); ok {
		return math.Exp(logL)
	}
	return t.band.Radiance(tempK)
}

// Temperature is Band.Temperature from the table, with its faults.
func (t *Table) Temperature(radianceWM2SR float64) (float64, error) {
	if v, ok := t.backward.at(math.Log(radianceWM2SR)); ok {
		return 1 / v, nil
	}
	return t.band.Temperature(radianceWM2SR)
}

// kelvin returns the temperature for the logarithm of a radiance.
func (t *Table) kelvin(logL float64) float64 {
	if v, ok := t.backward.at(logL); ok {
		return 1 / v
	}
	return t.band.invert(logL)
}
