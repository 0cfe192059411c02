// Package hotspot finds hot and cold spots on a thermal frame and says where
// they are, how high they rise and how sure that is; it reads profiles and
// regions, and lays a frame over a picture of the same object taken in visible
// light.
//
// Places are in pixels: the centre of the top left pixel is 0, 0, x runs to the
// right and y down. Values are in the unit of the frame; a rise is a difference
// in that unit.
package hotspot

import (
	"math"
	"slices"

	"dieglow/catalog/fault"
	"dieglow/notebook/frame"
)

// Options say what counts as a spot.
type Options struct {
	Reference *frame.Frame // of the unpowered object; nil: rises are over the background of the frame itself

	ThresholdSD float64 // a pixel of a spot stands out by more standard deviations of the noise than this; above 0
	MinAreaPx   int     // a spot has at least so many connected pixels; at least 1
	SaddleShare float64 // touching spots are told apart where the valley lies lower than the lower peak by this share of its rise, 0 to 1
	WindowPx    int     // side of the square the local background is taken from; 0: chosen, see Find
	Cold        bool    // look for spots below the background
}

// Ellipse is the shape of the Gaussian that fits a spot, blur and pixel included.
type Ellipse struct {
	FWHMPx   float64 `json:"fwhm_px"` // geometric mean of the two below
	UFWHMPx  float64 `json:"u_fwhm_px"`
	MajorPx  float64 `json:"fwhm_major_px"`
	MinorPx  float64 `json:"fwhm_minor_px"`
	AngleDeg float64 `json:"angle_deg"` // of the major axis, from x towards y, -90 to 90
}

// Spot is a connected set of pixels that stand out.
type Spot struct {
	XPx  float64 `json:"x_px"`
	YPx  float64 `json:"y_px"`
	UXPx float64 `json:"u_x_px"`
	UYPx float64 `json:"u_y_px"`
	From string  `json:"centre_from"` // FromFit or FromCentroid

	Peak      float64 `json:"peak"` // the reading of the pixel that stands out most
	PeakXPx   int     `json:"peak_x_px"`
	PeakYPx   int     `json:"peak_y_px"`
	Rise      float64 `json:"rise"` // of that pixel, over the reference, or over the background without one; below 0 for a cold spot
	URise     float64 `json:"u_rise"`
	LocalRise float64 `json:"local_rise"` // of that pixel over the background of the rises; Rise without a reference
	Sigma     float64 `json:"sigma"`      // LocalRise over the noise, without sign
	MeanRise  float64 `json:"mean_rise"`  // over the area
	UMeanRise float64 `json:"u_mean_rise"`
	AreaPx    int     `json:"area_px"` // pixels above the threshold

	Fit      *Ellipse `json:"size"`     // nil where no Gaussian fits
	FitRise  *float64 `json:"fit_rise"` // height of the fitted Gaussian over the same zero as Rise; less biased by noise than Rise
	UFitRise *float64 `json:"u_fit_rise"`

	SaturatedPx int  `json:"saturated_px"` // at the end of the range, or on a plateau of the frame's extreme value: Peak and Rise are then limits; such pixels take no part in the fit
	MissingPx   int  `json:"missing_px"`   // missing pixels that touch the spot
	AtEdge      bool `json:"at_edge"`      // it reaches the edge of the frame, so part of it may not be seen

	pixels []int              // their places in the frame
	with   map[int][4]float64 // covariances of its centre, xx xy yx yy, with those of spots fitted along
}

// The ways a centre is found.
const (
	FromFit      = "gaussian_fit"
	FromCentroid = "centroid" // weighted by the rise; towards the inside of the frame for a spot at its edge
)

// Distance is how far two spots, counted from 1, lie apart.
type Distance struct {
	From       int     `json:"from"`
	To         int     `json:"to"`
	DistancePx float64 `json:"distance_px"`
	UPx        float64 `json:"u_px"` // from the centres alone
}

// Found is what a frame holds.
type Found struct {
	Noise      Noise      `json:"noise"`
	Background Background `json:"background"`
	Spots      []Spot     `json:"spots"` // the greatest rise first
	Distances  []Distance `json:"distances"`
	SmallCount int        `json:"too_small"`     // connected groups above the threshold with fewer pixels than MinAreaPx
	HighestSD  float64    `json:"highest_sigma"` // of the pixel that stands out most, in a spot or not
	PlateauPx  int        `json:"plateau_px"`    // touching pixels of exactly the frame's extreme value below a stated end of the range: cut off there

	Width, Height int       `json:"-"`
	Local         []float64 `json:"-"` // rises over the background, in the sense looked for; NaN where missing
}

// mostDistances bounds the list of pairs; twenty spots have 190.
const mostDistances = 190

// Find finds the spots of a frame.
//
// With a reference the frames are subtracted and the background is one level, that
// of the differences which stand out least; a rise is the difference itself.
// Without one the background is local: the median of the pixels around that do not
// stand out of the frame, on a grid and interpolated between, in windows of a
// quarter of the shorter side, at least 15 pixels; what covers more than a window is
// a spot as well. With WindowPx it is the median of all pixels in such windows, so
// that only what is small against a window is a spot.
//
// The noise is measured on the differences of neighbours, see MeasureNoise. Pixels
// above ThresholdSD of it make a spot, together with those that are connected to
// them, corners included, by pixels above half of that: the ragged edge of a wide
// spot is no spot of its own. Two peaks in one such set are two spots where the
// valley between them, on the frame smoothed by 1 2 1 along rows and columns, lies
// below the lower peak by ThresholdSD of the noise left and by SaddleShare of its
// rise.
//
// A frame without a spot is an answer: Found has none. Fault Invalid when an
// option is outside its domain or every pixel is missing, Conflict when the
// reference has another size or unit.
func Find(f frame.Frame, o Options) (Found, error) {
	if err := o.validate(); err != nil {
		return Found{}, err
	}
	g, err := newGround(f, o)
	if err != nil {
		return Found{}, err
	}
	out := Found{Noise: g.noise, Background: g.background, PlateauPx: g.cut, Width: f.Width, Height: f.Height, Local: g.local}
	if !(g.noise.SD > 0) { // every pixel is the same
		return out, nil
	}
	for _, v := range g.local {
		if v == v {
			out.HighestSD = math.Max(out.HighestSD, v/g.noise.SD)
		}
	}
	threshold := o.ThresholdSD * g.noise.SD
	for _, set := range g.components(threshold) {
		for _, part := range g.split(set, o) {
			part = slices.DeleteFunc(part, func(i int) bool { return !(g.local[i] > threshold) })
			switch {
			case len(part) >= o.MinAreaPx:
				out.Spots = append(out.Spots, g.spot(part))
			case len(part) > 0:
				out.SmallCount++
			}
		}
	}
	slices.SortStableFunc(out.Spots, func(a, b Spot) int {
		switch d := math.Abs(b.LocalRise) - math.Abs(a.LocalRise); {
		case d > 0:
			return 1
		case d < 0:
			return -1
		}
		return 0
	})
	g.fitAll(out.Spots)
	out.Distances = distances(out.Spots)
	return out, nil
}

func (o Options) validate() error {
	switch {
	case !(o.ThresholdSD > 0) || math.IsInf(o.ThresholdSD, 0):
		return fault.Invalidf("a threshold of %g standard deviations", o.ThresholdSD).WithHint("give a number above 0; 5 is usual")
	case o.MinAreaPx < 1:
		return fault.Invalidf("a smallest area of %d pixels", o.MinAreaPx).WithHint("give at least 1; 4 is usual")
	case !(o.SaddleShare >= 0 && o.SaddleShare < 1):
		return fault.Invalidf("a valley of %g of the peak", o.SaddleShare).WithHint("give a share from 0 to 1, for example 5%%")
	case o.WindowPx != 0 && o.WindowPx < 5:
		return fault.Invalidf("a background window of %d pixels", o.WindowPx).WithHint("give at least 5 pixels, and several times the size of a spot")
	}
	return nil
}

// spot sums up one set of pixels; its centre is the centroid until it is fitted.
func (g *ground) spot(set []int) Spot {
	s := Spot{From: FromCentroid, AreaPx: len(set), pixels: set}
	peak := set[0]
	var weight, x, y float64
	for _, i := range set {
		v := g.local[i]
		if v > g.local[peak] {
			peak = i
		}
		weight += v
		x += v * float64(i%g.width)
		y += v * float64(i/g.width)
		s.MeanRise += g.sign * g.rise[i] / float64(len(set))
		if g.saturated[i] {
			s.SaturatedPx++
		}
	}
	s.XPx, s.YPx = x/weight, y/weight
	n := math.Sqrt(g.noise.CorrelatedPx)
	var xx, yy float64
	for _, i := range set {
		xx += sq(float64(i%g.width) - s.XPx)
		yy += sq(float64(i/g.width) - s.YPx)
	}
	// A centroid sum(v x)/sum(v) with equal noise in every v. The pixels at the
	// border of the set come and go with the noise, which the twelfth stands for.
	s.UXPx = math.Sqrt(sq(g.noise.SD*n/weight)*xx + 1/(12*float64(len(set))))
	s.UYPx = math.Sqrt(sq(g.noise.SD*n/weight)*yy + 1/(12*float64(len(set))))
	s.Peak, s.PeakXPx, s.PeakYPx = g.frame.Pixels[peak], peak%g.width, peak/g.width
	s.Rise, s.LocalRise = g.sign*g.rise[peak], g.sign*g.local[peak]
	s.URise, s.UMeanRise = g.noise.SD, g.noise.SD*n/math.Sqrt(float64(len(set)))
	s.Sigma = g.local[peak] / g.noise.SD
	s.MissingPx, s.AtEdge = g.beside(set)
	return s
}

// beside counts the missing pixels that touch a set, and says whether the set
// reaches the edge of the frame.
func (g *ground) beside(set []int) (missing int, edge bool) {
	seen := map[int]bool{}
	for _, i := range set {
		if x, y := i%g.width, i/g.width; x == 0 || y == 0 || x == g.width-1 || y == g.height-1 {
			edge = true
		}
		g.around(i, func(j int) {
			if math.IsNaN(g.local[j]) && !seen[j] {
				seen[j] = true
				missing++
			}
		})
	}
	return missing, edge
}

func distances(spots []Spot) []Distance {
	var out []Distance
	for i, a := range spots {
		for j := i + 1; j < len(spots) && len(out) < mostDistances; j++ {
			b := spots[j]
			d := math.Hypot(b.XPx-a.XPx, b.YPx-a.YPx)
			cx, cy := (b.XPx-a.XPx)/d, (b.YPx-a.YPx)/d
			u2 := sq(cx)*(sq(a.UXPx)+sq(b.UXPx)) + sq(cy)*(sq(a.UYPx)+sq(b.UYPx))
			if c, ok := a.with[j]; ok {
				u2 -= 2 * (cx*cx*c[0] + cx*cy*(c[1]+c[2]) + cy*cy*c[3])
			}
			out = append(out, Distance{From: i + 1, To: j + 1, DistancePx: d, UPx: math.Sqrt(math.Max(0, u2))})
		}
	}
	return out
}

func sq(v float64) float64 { return v * v }
