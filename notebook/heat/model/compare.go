package model

import (
	"fmt"
	"math"
	"slices"

	"dieglow/catalog/fault"
)

// Comparison is what came of it. Differences are measured less model, in K.
type Comparison struct {
	Width, Height int
	Placed        Placed
	OnFrame       []float64 // the model on the measured pixels, NaN where it does not reach
	Difference    []float64

	Pixels      int     // compared
	Overlap     float64 // share of the frame
	NoiseK      float64
	BiasK       Judged // mean difference
	RMSK        float64
	SDK         float64 // about the mean difference
	Correlation float64 // NaN where measured or model are the same everywhere

	// Scale is the slope of measured over model temperatures, from a straight line
	// through both with their uncertainties (W. E. Deming, Statistical Adjustment
	// of Data, 1943); OffsetK is where it cuts. The uncertainty of the slope takes
	// in what is left about the line, for as many independent values as there are
	// blur spots, and the combined uncertainty over the range of the model. Both are
	// NaN where the model is the same everywhere.
	Scale   Judged
	OffsetK float64

	Largest     Place // largest difference over its uncertainty, in the median of 3 x 3 pixels
	Disagreeing int   // pixels beyond what uncertainty and noise allow
	beyond      []bool
	Regions     []RegionResult

	// Judged says that an uncertainty of measurement or model was stated. Without
	// one nothing says what agreement would be.
	Judged  bool
	Agree   bool
	Reasons []string // why not
}

// Judged is a figure against the value it should have.
type Judged struct {
	Value, U   float64
	Normalised float64 // distance from what it should be, over U
}

// Place is a difference somewhere.
type Place struct {
	X, Y        int
	DifferenceK float64
	UK          float64
	Normalised  float64
	Found       bool
}

// RegionResult is the comparison over one region.
type RegionResult struct {
	Region    Region
	Pixels    int
	MeasuredK float64 // means, in the unit of the frame
	ModelK    float64
	Hottest   [2]float64 // of measured and model
	Mean      Judged     // difference
	Beyond    int        // pixels of it that disagree
	Agree     bool       // mean within two standard uncertainties, and hardly a pixel that disagrees
}

// most is how many standard uncertainties are still agreement.
const most = 2

// The standard deviation of the median of nine normal values, over that of one, and
// how many of its standard deviations no pixel of a frame reaches by chance.
const (
	medianNoise = 0.41
	rareNoise   = 4.5
	fewDisagree = 9 // pixels: what one spot of the median makes
)

func (c *Comparison) compare(j Job) error {
	c.subtract(j)
	if c.Pixels < fewestPixels {
		return fault.Invalidf("the model does not overlap the frame: %d pixels have both", c.Pixels).
			WithHint("check --model-pixel and --pixel, and where the model lies: --shift auto, or its corner in pixels of the frame")
	}
	c.NoiseK = noiseOf(j)
	s := c.slopes(j)
	c.summarise(j)
	c.fit(j)
	c.local(j, s)
	for _, r := range j.Regions {
		if err := c.region(j, s, r); err != nil {
			return err
		}
	}
	c.judge(j)
	return nil
}

// shared is the uncertainty that all pixels of the difference share.
func (j Job) shared() float64 {
	u := 0.0
	for _, v := range []*float64{j.UMeasuredK, j.UModelK} {
		if v != nil {
			u = math.Hypot(u, *v)
		}
	}
	return u
}

func (c *Comparison) subtract(j Job) {
	c.Difference = make([]float64, len(c.OnFrame))
	for i, m := range j.Measured.Pixels {
		c.Difference[i] = m - c.OnFrame[i]
		if !math.IsNaN(c.Difference[i]) {
			c.Pixels++
		}
	}
	c.Overlap = float64(c.Pixels) / float64(len(c.Difference))
}

// noiseOf returns the stated noise, or that of the second differences along the
// rows, in which all that is smooth goes: their median size is 0.6745 sqrt(6) of it.
func noiseOf(j Job) float64 {
	if j.NoiseK != nil {
		return *j.NoiseK
	}
	var d []float64
	m := j.Measured
	for i := range m.Pixels {
		if x := i % m.Width; x > 0 && x < m.Width-1 {
			if v := m.Pixels[i-1] - 2*m.Pixels[i] + m.Pixels[i+1]; !math.IsNaN(v) {
				d = append(d, math.Abs(v))
			}
		}
	}
	if len(d) == 0 {
		return 0
	}
	slices.Sort(d)
	return d[len(d)/2] / (0.6745 * math.Sqrt(6))
}

// summarise computes bias, spread and correlation.
func (c *Comparison) summarise(j Job) {
	n := float64(c.Pixels)
	var sum, squares, m, s, mm, ss, ms float64
	level := c.level()
	for i, d := range c.Difference {
		if math.IsNaN(d) {
			continue
		}
		a, b := j.Measured.Pixels[i]-level, c.OnFrame[i]-level
		sum, squares = sum+d, squares+d*d
		m, s, mm, ss, ms = m+a, s+b, mm+a*a, ss+b*b, ms+a*b
	}
	c.BiasK.Value, c.RMSK = sum/n, math.Sqrt(squares/n)
	c.SDK = math.Sqrt(math.Max(0, squares/n-c.BiasK.Value*c.BiasK.Value))
	c.Correlation = math.NaN()
	if c.varies(j.Measured.Pixels) && c.varies(c.OnFrame) {
		c.Correlation = (ms - m*s/n) / math.Sqrt((mm-m*m/n)*(ss-s*s/n))
	}
	c.BiasK.U = math.Hypot(j.shared(), c.NoiseK/math.Sqrt(n))
	c.BiasK.Normalised = c.BiasK.Value / c.BiasK.U
}

// varies reports whether values differ where both maps have one, by more than the
// rounding of blur and areas.
func (c *Comparison) varies(values []float64) bool {
	low, high := math.Inf(1), math.Inf(-1)
	for i, d := range c.Difference {
		if !math.IsNaN(d) {
			low, high = math.Min(low, values[i]), math.Max(high, values[i])
		}
	}
	return high-low > 1e-11*math.Max(math.Abs(low), math.Abs(high))
}

// level is a temperature near those of the model, to keep sums of squares small.
func (c *Comparison) level() float64 {
	for i, d := range c.Difference {
		if !math.IsNaN(d) {
			return c.OnFrame[i]
		}
	}
	return 0
}

// fit lays a line through measured over model.
func (c *Comparison) fit(j Job) {
	if !c.varies(c.OnFrame) {
		c.Scale, c.OffsetK = Judged{math.NaN(), math.NaN(), math.NaN()}, math.NaN()
		return
	}
	n, level := float64(c.Pixels), c.level()
	var m, s, mm, ss, ms float64
	low, high := math.Inf(1), math.Inf(-1)
	for i, d := range c.Difference {
		if math.IsNaN(d) {
			continue
		}
		a, b := j.Measured.Pixels[i]-level, c.OnFrame[i]-level
		low, high = math.Min(low, b), math.Max(high, b)
		m, s, mm, ss, ms = m+a, s+b, mm+a*a, ss+b*b, ms+a*b
	}
	mm, ss, ms = (mm-m*m/n)/n, (ss-s*s/n)/n, (ms-m*s/n)/n
	slope := ms / ss
	if u := j.UModelK; u != nil && *u > 0 && ms != 0 {
		uy := c.NoiseK
		if j.UMeasuredK != nil {
			uy = math.Hypot(uy, *j.UMeasuredK)
		}
		ratio := uy * uy / (*u * *u)
		a := mm - ratio*ss
		slope = (a + math.Sqrt(a*a+4*ratio*ms*ms)) / (2 * ms)
	}
	left := math.Max(0, mm-2*slope*ms+slope*slope*ss)
	sigma := j.BlurUM / math.Sqrt(8*math.Ln2) / j.PixelUM.Value
	spots := n / math.Max(1, 4*math.Pi*sigma*sigma)
	c.Scale = Judged{Value: slope, U: math.Hypot(math.Sqrt(left/(ss*math.Max(1, spots-2))), j.shared()/(high-low))}
	c.Scale.Normalised = (slope - 1) / c.Scale.U
	c.OffsetK = level + m/n - slope*(level+s/n)
}

// slopes are what a shift of a pixel along x and y, and a relative change of the
// pixel size, change the model by.
type slopes struct{ x, y, size []float64 }

func (c *Comparison) slopes(j Job) slopes {
	n := len(c.OnFrame)
	s := slopes{make([]float64, n), make([]float64, n), make([]float64, n)}
	// A place that was found keeps the middle where it is, one that was stated the corner.
	fixed := c.Placed.At
	if c.Placed.Found {
		fixed = Point{float64(c.Width) / 2, float64(c.Height) / 2}
	}
	for i := range c.OnFrame {
		x, y := i%c.Width, i/c.Width
		s.x[i] = c.slope(i, x > 0, x < c.Width-1, 1)
		s.y[i] = c.slope(i, y > 0, y < c.Height-1, c.Width)
		s.size[i] = s.x[i]*(float64(x)+0.5-fixed.X) + s.y[i]*(float64(y)+0.5-fixed.Y)
	}
	return s
}

// slope is the difference of a pixel's neighbours over their distance; 0 where
// there are none.
func (c *Comparison) slope(i int, before, after bool, step int) float64 {
	a, b, n := i, i, 0.0
	if before && !math.IsNaN(c.OnFrame[i-step]) {
		a, n = i-step, n+1
	}
	if after && !math.IsNaN(c.OnFrame[i+step]) {
		b, n = i+step, n+1
	}
	if n == 0 || math.IsNaN(c.OnFrame[i]) {
		return 0
	}
	return (c.OnFrame[b] - c.OnFrame[a]) / n
}

// uncertainty combines what is shared with what an uncertain place and pixel size
// make of the slopes given.
func (c *Comparison) uncertainty(j Job, x, y, size float64) float64 {
	u := math.Hypot(j.shared(), math.Hypot(x*c.Placed.U.X, y*c.Placed.U.Y))
	if p, ok := j.PixelUM.StandardU(); ok {
		u = math.Hypot(u, size*p/j.PixelUM.Value)
	}
	return u
}

// local finds where the two disagree most, and how many pixels do: those whose
// median of 3 x 3 differences is beyond two standard uncertainties, and beyond what
// noise alone may make anywhere in the frame.
func (c *Comparison) local(j Job, s slopes) {
	c.beyond = make([]bool, len(c.Difference))
	for i, d := range c.Difference {
		if math.IsNaN(d) {
			continue
		}
		median := c.around(i)
		u := c.uncertainty(j, s.x[i], s.y[i], s.size[i])
		if math.Abs(median) > math.Hypot(most*u, rareNoise*medianNoise*c.NoiseK) {
			c.Disagreeing++
			c.beyond[i] = true
		}
		u = math.Hypot(u, medianNoise*c.NoiseK)
		if z := median / u; !c.Largest.Found || math.Abs(z) > math.Abs(c.Largest.Normalised) {
			c.Largest = Place{i % c.Width, i / c.Width, median, u, z, true}
		}
	}
}

// around is the median difference of a pixel and its neighbours.
func (c *Comparison) around(i int) float64 {
	var there [9]float64
	n := 0
	x, y := i%c.Width, i/c.Width
	for dy := max(0, y-1); dy <= min(c.Height-1, y+1); dy++ {
		for dx := max(0, x-1); dx <= min(c.Width-1, x+1); dx++ {
			if d := c.Difference[dy*c.Width+dx]; !math.IsNaN(d) {
				there[n] = d
				n++
			}
		}
	}
	slices.Sort(there[:n])
	if n%2 == 0 {
		return (there[n/2-1] + there[n/2]) / 2
	}
	return there[n/2]
}

// region compares the means of one region.
func (c *Comparison) region(j Job, s slopes, r Region) error {
	out := RegionResult{Region: r, Hottest: [2]float64{math.Inf(-1), math.Inf(-1)}}
	var x, y, size float64
	for dy := range r.Rect.Height {
		for dx := range r.Rect.Width {
			i := (r.Rect.Y+dy)*c.Width + r.Rect.X + dx
			d := c.Difference[i]
			if math.IsNaN(d) {
				continue
			}
			out.Pixels++
			if c.beyond[i] {
				out.Beyond++
			}
			out.MeasuredK += j.Measured.Pixels[i]
			out.ModelK += c.OnFrame[i]
			out.Hottest[0] = math.Max(out.Hottest[0], j.Measured.Pixels[i])
			out.Hottest[1] = math.Max(out.Hottest[1], c.OnFrame[i])
			x, y, size = x+s.x[i], y+s.y[i], size+s.size[i]
		}
	}
	if out.Pixels == 0 {
		return fault.Invalidf("region %s: the model does not reach there", r.Name).WithHint("leave the region away, or check --shift and --model-pixel")
	}
	n := float64(out.Pixels)
	out.MeasuredK, out.ModelK = out.MeasuredK/n, out.ModelK/n
	out.Mean.Value = out.MeasuredK - out.ModelK
	out.Mean.U = math.Hypot(c.uncertainty(j, x/n, y/n, size/n), c.NoiseK/math.Sqrt(n))
	out.Mean.Normalised = out.Mean.Value / out.Mean.U
	out.Agree = math.Abs(out.Mean.Normalised) <= most && out.Beyond < fewDisagree
	c.Regions = append(c.Regions, out)
	return nil
}

// judge says whether the two agree, and why not.
func (c *Comparison) judge(j Job) {
	if c.Judged = j.UMeasuredK != nil || j.UModelK != nil; !c.Judged {
		return
	}
	if math.Abs(c.BiasK.Normalised) > most {
		c.Reasons = append(c.Reasons, fmt.Sprintf("the mean differs by %.3g K, %.1f standard uncertainties", c.BiasK.Value, math.Abs(c.BiasK.Normalised)))
	}
	if math.Abs(c.Scale.Normalised) > most {
		c.Reasons = append(c.Reasons, fmt.Sprintf("the measured rises are %.3g times the model's, %.1f standard uncertainties from 1", c.Scale.Value, math.Abs(c.Scale.Normalised)))
	}
	if c.Disagreeing >= fewDisagree {
		c.Reasons = append(c.Reasons, fmt.Sprintf("%d pixels differ by more than uncertainty and noise allow", c.Disagreeing))
	}
	if c.Placed.Tested && c.Placed.Normalised > most {
		c.Reasons = append(c.Reasons, fmt.Sprintf("the model fits best %.3g, %.3g pixels from where it belongs, %.1f standard uncertainties", c.Placed.At.X-c.Placed.Start.X, c.Placed.At.Y-c.Placed.Start.Y, c.Placed.Normalised))
	}
	for _, r := range c.Regions {
		if !r.Agree {
			c.Reasons = append(c.Reasons, fmt.Sprintf("region %s differs by %.3g K in the mean, %.1f standard uncertainties, and in %d of its pixels", r.Region.Name, r.Mean.Value, math.Abs(r.Mean.Normalised), r.Beyond))
		}
	}
	c.Agree = len(c.Reasons) == 0
}
