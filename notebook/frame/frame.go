// Package frame reads thermal frames: one number a pixel, with the dimensions
// of the picture. What the numbers are (°C, K or raw counts) is not in most
// files; the person who opens the file says so, as a Unit.
//
// A format is one file of this package. OpenStack tells the formats apart by
// content, never by the file's name, and yields the frames of a file one by one
// in constant memory; Open reads the frame of a file that holds one. Create
// writes frames; there the ending of the name chooses the format.
package frame

import (
	"math"
	"strings"

	"dieglow/catalog/fault"
)

// Frame is one thermal picture.
type Frame struct {
	Width  int // columns
	Height int // rows

	// Pixels holds the values row by row from the top left: the pixel in
	// column x and row y, both from 0, is Pixels[y*Width+x]. NaN is a missing
	// pixel; no pixel is infinite.
	Pixels []float64

	// Unit is what the pixel values are. A file rarely says: the readers of
	// this package leave it Unstated for the caller to fill in.
	Unit Unit

	MissingCount   int      // pixels that are NaN
	SaturatedCount int      // pixels at or above Saturation when the frame was read
	Saturation     *float64 // the level where the file's numbers end, or the one stated on opening; nil when there is none
	Header         string   // the header line that was left out, empty when there was none

	Index   int     // place in its stack, from 0
	HasTime bool    // the file says when the frame was taken
	TimeS   float64 // seconds on the clock of the file; 0 without HasTime
}

// Unit is what the numbers of a frame are.
type Unit int

// The units of a frame.
const (
	Unstated Unit = iota
	DegC          // degrees Celsius, as the camera computed them
	Kelvin        // kelvin, as the camera computed them
	Counts        // raw detector counts, not a temperature
)

// ParseUnit reads degC (also C and °C), K or counts, in upper or lower case.
// Fault Invalid for anything else.
func ParseUnit(s string) (Unit, error) {
	switch strings.ToLower(strings.TrimSpace(s)) {
	case "degc", "c", "°c":
		return DegC, nil
	case "k":
		return Kelvin, nil
	case "counts":
		return Counts, nil
	}
	return Unstated, fault.Invalidf("%q does not say what the numbers of a frame are", s).
		WithHint("one of degC, K or counts")
}

// String returns the unit as ParseUnit reads it, or "unstated".
func (u Unit) String() string {
	switch u {
	case DegC:
		return "degC"
	case Kelvin:
		return "K"
	case Counts:
		return "counts"
	default:
		return "unstated"
	}
}

// Stats sums up the pixels of one frame, in the unit of the frame. Missing
// pixels are counted and take no other part.
type Stats struct {
	Min, Max, Mean float64

	// StdDev is the spread of the pixels about their mean: the root of the mean
	// square deviation, with the number of pixels in the denominator. It
	// describes this frame and is not an estimate for others like it.
	StdDev float64

	MaxX, MaxY int // where Max is, from 0 at the top left; the first in reading order when several are equal

	MissingCount   int
	SaturatedCount int // as the frame has it: Max and Mean are then lower limits
}

// Stats computes the statistics of the frame. Without any pixel that is not
// missing the four values are NaN and the position is -1, -1.
func (f Frame) Stats() Stats {
	s := Stats{Min: math.Inf(1), Max: math.Inf(-1), MaxX: -1, MaxY: -1, SaturatedCount: f.SaturatedCount}
	at, sum := -1, 0.0
	for i, v := range f.Pixels {
		if math.IsNaN(v) {
			s.MissingCount++
			continue
		}
		sum += v
		s.Min = min(s.Min, v)
		if v > s.Max {
			s.Max, at = v, i
		}
	}
	if at < 0 {
		nan := math.NaN()
		s.Min, s.Max, s.Mean, s.StdDev = nan, nan, nan, nan
		return s
	}
	n := float64(len(f.Pixels) - s.MissingCount)
	s.MaxX, s.MaxY = at%f.Width, at/f.Width
	s.Mean = sum / n
	// The second sum corrects for the rounding of the mean (two-pass algorithm
	// with correction, Chan, Golub and LeVeque, The American Statistician 37(3),
	// 1983, 242-247, doi:10.1080/00031305.1983.10483115).
	var squares, rest float64
	for _, v := range f.Pixels {
		if math.IsNaN(v) {
			continue
		}
		d := v - s.Mean
		squares += d * d
		rest += d
	}
	s.StdDev = math.Sqrt(max(0, (squares-rest*rest/n)/n))
	return s
}
