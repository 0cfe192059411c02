package heat

import (
	"errors"
	"io"
	"math"

	"dieglow/catalog/fault"
	"dieglow/notebook/frame"
)

// HottestAtEnd returns the pixel with the highest value of the last frame of a
// stack, which is read through. Fault Invalid for a last frame without a value.
func HottestAtEnd(s *frame.Stack) (x, y int, err error) {
	var buffer []float64
	var st frame.Stats
	for {
		f, err := s.Next(buffer)
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return 0, 0, err
		}
		buffer, st = f.Pixels, f.Stats()
	}
	if math.IsNaN(st.Max) {
		return 0, 0, fault.Invalidf("the last frame has no value").WithHint("say where to look: --at column,row")
	}
	return st.MaxX, st.MaxY, nil
}

// Track returns the mean over a part of each frame of a stack against time. The
// times are those of the file, or follow from a rate in frames a second above 0.
// Fault Usage where neither is known, Invalid for a part outside the frame or a frame
// without a value there.
func Track(s *frame.Stack, part frame.Rect, rateHz float64) (Series, error) {
	if rateHz == 0 && !s.Info().HasTime {
		return Series{}, fault.Usagef("how fast the frames were taken is not known: the file has no times").WithHint("give --rate 25Hz")
	}
	var out Series
	var buffer []float64
	for {
		f, err := s.Next(buffer)
		if errors.Is(err, io.EOF) {
			return out, nil
		}
		if err != nil {
			return out, err
		}
		buffer = f.Pixels
		cut, err := f.Crop(part)
		if err != nil {
			return out, err
		}
		t := f.TimeS
		if rateHz > 0 {
			t = float64(len(out.TimeS)) / rateHz
		}
		v := cut.Stats().Mean
		if math.IsNaN(v) {
			return out, fault.Invalidf("frame %d has no value there", len(out.TimeS)).WithHint("choose another place with --at")
		}
		out.TimeS, out.Temp = append(out.TimeS, t), append(out.Temp, v)
	}
}
