package heat

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"dieglow/catalog/quantity"
)

// The rule of outlying readings. It is this program's own.
const (
	outlyingTimes = 8    // the noise away from the median of the readings about it
	mostOutlying  = 0.05 // of the readings: with more of them none is called an outlier
)

// Reading is one reading of a series.
type Reading struct {
	TimeS float64 `json:"time_s"`
	Temp  float64 `json:"temp"` // in the unit of the series
}

func outlierRule() string {
	return fmt.Sprintf("more than %d times the noise, and twice the spread of its neighbours, from the median of five", outlyingTimes)
}

// medianNoise estimates the noise from the median of the distances of readings from
// the line through their neighbours, which a few wild readings do not move: the
// median over 0.6745, the quartile of the normal distribution.
func medianNoise(deviations []float64) float64 {
	if len(deviations) == 0 {
		return math.NaN()
	}
	sizes := make([]float64, len(deviations))
	for i, d := range deviations {
		sizes[i] = math.Abs(d)
	}
	slices.Sort(sizes)
	n := len(sizes)
	return (sizes[(n-1)/2] + sizes[n/2]) / 2 / 0.6745
}

// outlying returns the places of the readings that stand out: from the median of
// the five about them (three beside the ends), which a curve that only rises or
// falls passes through (F. R. Hampel's identifier, from memory, not verified). At the
// ends a reading stands out where it lies outside all others. nil where more
// than one in twenty do, which then is no accident.
func (s Series) outlying(noiseK float64) (places []int, tooMany bool) {
	n := len(s.Temp)
	if n < leastReadingsTwo {
		return nil, false
	}
	if !(noiseK > 0) {
		noiseK = math.Max(medianNoise(fromNeighbours(s.TimeS, s.Temp)), math.Max(roundingNoise(s.Temp), 1e-9*s.scale()))
	}
	for i, v := range s.Temp {
		half := min(i, n-1-i, 2)
		if half == 0 {
			if s.endOutlying(i, outlyingTimes*noiseK) {
				places = append(places, i)
			}
			continue
		}
		about := slices.Sorted(slices.Values(s.Temp[i-half : i+half+1]))
		spread := math.Inf(1)
		for k := 0; k+half < len(about); k++ {
			spread = math.Min(spread, about[k+half]-about[k])
		}
		if math.Abs(v-about[half]) > math.Max(outlyingTimes*noiseK, 2*spread) {
			places = append(places, i)
		}
	}
	if float64(len(places)) > math.Max(1, mostOutlying*float64(n)) {
		return nil, true
	}
	return places, false
}

// endOutlying judges the first or the last reading. A first reading that lies on the
// side that the series comes from may be a fast warm-up, and stays.
func (s Series) endOutlying(i int, limitK float64) bool {
	n := len(s.Temp)
	others, near := s.Temp[1:], s.Temp[1:5]
	if i > 0 {
		others, near = s.Temp[:n-1], s.Temp[n-5:n-1]
	}
	v := s.Temp[i]
	outside := math.Max(v-slices.Max(others), slices.Min(others)-v)
	if i == 0 && (v-s.Temp[1])*(s.Temp[n-1]-s.Temp[1]) <= 0 {
		return false
	}
	return outside > math.Max(limitK, 3*(slices.Max(near)-slices.Min(near)))
}

// without returns the series less the readings at some places, in rising order.
func (s Series) without(places []int) Series {
	out := s
	out.TimeS, out.Temp, out.U = nil, nil, nil
	for i := range s.TimeS {
		if _, found := slices.BinarySearch(places, i); found {
			continue
		}
		out.TimeS, out.Temp = append(out.TimeS, s.TimeS[i]), append(out.Temp, s.Temp[i])
		if s.U != nil {
			out.U = append(out.U, s.U[i])
		}
	}
	return out
}

// sortOut leaves out what stands out, unless all is to be kept, and says so.
func (w *WarmUp) sortOut(s Series, o WarmUpOptions) Series {
	places, tooMany := s.outlying(o.NoiseK)
	if tooMany {
		w.Notes = append(w.Notes, fmt.Sprintf("more than one reading in %.0f stands out (%s): that is no accident, and all are kept", 1/mostOutlying, outlierRule()))
	}
	if len(places) == 0 {
		return s
	}
	var named []string
	for _, i := range places {
		w.Outlying = append(w.Outlying, Reading{s.TimeS[i], s.Temp[i]})
		if len(named) < 5 {
			named = append(named, fmt.Sprintf("%s at %s s", inUnit(s.Temp[i], s.Unit), quantity.Fixed(s.TimeS[i], 6)))
		}
	}
	if more := len(places) - len(named); more > 0 {
		named = append(named, fmt.Sprintf("and %d more", more))
	}
	done := "left out of the fit; --keep-all takes them"
	if o.KeepAll {
		done = "kept, as asked"
	}
	w.Notes = append(w.Notes, fmt.Sprintf("%s (%s): %s, %s", countOf(len(places), "reading stands out", "readings stand out"), outlierRule(), strings.Join(named, ", "), done))
	if o.KeepAll {
		return s
	}
	w.OutlyingLeftOut = true
	return s.without(places)
}

func inUnit(v float64, unit string) string {
	return quantity.Fixed(v, 6) + cmp.Or(map[string]string{"degC": " °C", "K": " K"}[unit], "")
}
