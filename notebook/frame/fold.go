package frame

import (
	"errors"

	"dieglow/catalog/fault"
)

// Folding says how the frames of a stack are laid over each other: frame number n,
// from 0 where the stack stands, is at place n mod Length of its cycle. The sums
// of Cycles cycles are handed over together.
type Folding struct {
	Length int // frames of a cycle
	Cycles int // cycles summed at a time
	Frames int // to be read; 0 for all that are left
}

// Sums are the frames at one place of the cycle, added up over some cycles, for a
// part of the pixels.
type Sums struct {
	First  int // frame number of the first of them; the others follow in steps of Length
	Frames int // how many were added
	Pixel  int // place of Values[0] in the frame

	// Values has a sum for each pixel, NaN where one of the frames misses it. It is
	// valid until the receiver returns.
	Values []float64

	TimeS float64 // sum of the frames' times; 0 unless the file has them
}

// Folded is what Fold says about the stack as a whole.
type Folded struct {
	Frames           int
	SaturatedSamples int
	SaturatedPixels  int
}

// Receive takes the sums of the pixels from a place in the frame on, one after
// the other: in the order of the cycles, and within them of the places.
type Receive func(Sums)

// Fold reads frames as they stream, in memory for a few frames and one cycle of
// sums, and hands over the sums. Two workers share the pixels of 16-bit files
// between them: part is called for each part of the frame before anything is
// read, and what it returns is called by one goroutine at a time. Errors as from Next;
// fault Invalid when no frame is left, or fewer than asked for.
func (s *Stack) Fold(f Folding, part func(pixel, pixels int) Receive) (Folded, error) {
	if f.Length < 1 || f.Cycles < 1 || f.Frames < 0 {
		return Folded{}, fault.Otherf("cycles of %d frames, %d at a time", f.Length, f.Cycles)
	}
	if b, ok := s.src.(*block); ok && s.err == nil {
		if k, ok := s.kernel(b); ok {
			return s.foldBlock(b, k, f, part)
		}
	}
	return s.foldFrames(f, part(0, s.info.Width*s.info.Height))
}

// foldFrames is Fold for files of any kind.
func (s *Stack) foldFrames(f Folding, take Receive) (Folded, error) {
	size := s.info.Width * s.info.Height
	var out Folded
	var sums []Sums // by place
	saturated, dst := make([]bool, size), make([]float64, size)
	for f.Frames == 0 || out.Frames < f.Frames {
		in, err := s.Next(dst)
		if errors.Is(err, errEnd) {
			break
		}
		if err != nil {
			return out, err
		}
		place := out.Frames % f.Length
		if place == 0 && out.Frames%(f.Length*f.Cycles) == 0 {
			handOver(sums, take)
		}
		if place >= len(sums) {
			sums = append(sums, Sums{})
		}
		sums[place].add(in, out.Frames)
		out.Frames++
		out.SaturatedSamples += in.SaturatedCount
		for i := 0; in.SaturatedCount > 0 && i < size; i++ {
			saturated[i] = saturated[i] || in.Pixels[i] >= *in.Saturation
		}
	}
	handOver(sums, take)
	for _, v := range saturated {
		if v {
			out.SaturatedPixels++
		}
	}
	return out, s.folded(out.Frames, f)
}

// folded checks that there were frames enough.
func (s *Stack) folded(frames int, f Folding) error {
	if frames == 0 {
		return s.noFrames()
	}
	if frames < f.Frames {
		return fault.Invalidf("%s: %d frames left, and %d are to be folded", s.path, frames, f.Frames)
	}
	return nil
}

// add adds a frame.
func (s *Sums) add(f Frame, number int) {
	if s.Frames == 0 {
		s.First, s.TimeS = number, 0
		s.Values = append(s.Values[:0], f.Pixels...)
	} else {
		for i, v := range f.Pixels {
			s.Values[i] += v
		}
	}
	s.Frames++
	s.TimeS += f.TimeS
}

// handOver hands over what was added and begins anew.
func handOver(sums []Sums, take Receive) {
	for i := range sums {
		if sums[i].Frames > 0 {
			take(sums[i])
			sums[i].Frames = 0
		}
	}
}
