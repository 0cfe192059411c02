package frame

import (
	"errors"
	"math"

	"dieglow/catalog/fault"
)

// NoiseCaveat is what an average over N frames does and does not do to noise.
const NoiseCaveat = "noise that changes from frame to frame without memory falls with the square root of the number of frames; fixed pattern, drift and whatever else the frames share do not fall"

// NoiseFactor returns 1/sqrt(n): what averaging n values leaves of the standard
// deviation of uncorrelated noise. NaN when n is below 1. See NoiseCaveat.
func NoiseFactor(n int) float64 {
	if n < 1 {
		return math.NaN()
	}
	return 1 / math.Sqrt(float64(n))
}

// Average is a stack summed up over time, pixel by pixel.
type Average struct {
	// Mean has the mean of each pixel over the frames in which it is not missing,
	// and NaN where it is missing in all. The mean of uncorrelated noise has
	// NoiseFactor of its standard deviation; see NoiseCaveat. Its SaturatedCount
	// is the number of pixels that were saturated in at least one frame: their
	// mean is a lower limit. FindBad, Crop and the rest apply to it as to any frame.
	Mean Frame

	// StdDev has the standard deviation of each pixel over time, with N - 1 in
	// the denominator, and NaN where there are fewer than two values. It is the
	// temporal noise of one frame, drift included. Only Spread fills it.
	StdDev Frame

	Frames           int // frames taken together
	MissingSamples   int // pixels missing, over all frames
	SaturatedSamples int // pixels saturated, over all frames
}

// Average reads the frames that are left and returns their mean. The stack is
// read as it streams, in constant memory; 16-bit integers are summed exactly, by
// two workers. Errors as from Next; fault Invalid when no frame is left.
func (s *Stack) Average() (Average, error) {
	if b, ok := s.src.(*block); ok && s.err == nil {
		if k, ok := s.kernel(b); ok {
			return s.averageBlock(b, k)
		}
	}
	return s.average(false)
}

// Spread is Average with the standard deviation over time as well.
func (s *Stack) Spread() (Average, error) { return s.average(true) }

// pixelSums holds sums about each pixel's own first value, which loses no
// digits to a large common level (T. F. Chan, G. H. Golub and R. J. LeVeque,
// The American Statistician 37(3), 1983, 242-247,
// doi:10.1080/00031305.1983.10483115).
type pixelSums struct {
	shift, sum, squares []float64
	n                   []uint32
	saturated           []bool
}

func (s *Stack) average(spread bool) (Average, error) {
	size := s.info.Width * s.info.Height
	p := pixelSums{shift: make([]float64, size), sum: make([]float64, size), n: make([]uint32, size), saturated: make([]bool, size)}
	if spread {
		p.squares = make([]float64, size)
	}
	var a Average
	dst := make([]float64, size)
	for {
		f, err := s.Next(dst)
		if errors.Is(err, errEnd) {
			break
		}
		if err != nil {
			return Average{}, err
		}
		if a.Frames == 0 {
			a.Mean = f
		}
		a.Frames++
		a.MissingSamples += f.MissingCount
		a.SaturatedSamples += f.SaturatedCount
		p.add(f)
	}
	if a.Frames == 0 {
		return Average{}, s.noFrames()
	}
	return p.result(a), nil
}

func (s *Stack) noFrames() error {
	return fault.Invalidf("%s: no frames left to average", s.path).WithHint("average from an earlier frame on")
}

func (p *pixelSums) add(f Frame) {
	for i, v := range f.Pixels {
		if math.IsNaN(v) {
			continue
		}
		if p.n[i] == 0 {
			p.shift[i] = v
		}
		p.n[i]++
		d := v - p.shift[i]
		p.sum[i] += d
		if p.squares != nil {
			p.squares[i] += d * d
		}
	}
	if f.SaturatedCount > 0 {
		for i, v := range f.Pixels {
			p.saturated[i] = p.saturated[i] || v >= *f.Saturation
		}
	}
}

// result turns the sums into frames; a.Mean is any frame of the stack.
func (p *pixelSums) result(a Average) Average {
	like := a.Mean
	like.Index, like.TimeS, like.HasTime, like.Saturation = 0, 0, false, nil
	like.MissingCount, like.SaturatedCount = 0, 0
	a.Mean = like.copyOf(like.Width, like.Height)
	if p.squares != nil {
		a.StdDev = like.copyOf(like.Width, like.Height)
	}
	for i := range p.n {
		n := float64(p.n[i])
		a.Mean.Pixels[i] = p.shift[i] + p.sum[i]/n // NaN when n is 0
		if n == 0 {
			a.Mean.MissingCount++
		}
		if p.saturated[i] {
			a.Mean.SaturatedCount++
		}
		if p.squares == nil {
			continue
		}
		a.StdDev.Pixels[i] = math.NaN()
		if n > 1 {
			a.StdDev.Pixels[i] = math.Sqrt(max(0, p.squares[i]-p.sum[i]*p.sum[i]/n) / (n - 1))
		} else {
			a.StdDev.MissingCount++
		}
	}
	return a
}
