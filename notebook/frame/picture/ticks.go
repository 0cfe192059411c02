package picture

import (
	"math"
	"strconv"
	"strings"
)

// Ticks returns the round values from low to high: the multiples of the
// smallest step 1, 2 or 5 times a power of ten that gives at most that many.
// Nothing when the range is empty or not finite, or most is below 2.
func Ticks(low, high float64, most int) []float64 {
	step := tickStep(low, high, most)
	if step == 0 {
		return nil
	}
	var ticks []float64
	for k := math.Ceil(low/step - 1e-9); k*step <= high+step*1e-9; k++ {
		ticks = append(ticks, rounded(k, step))
	}
	return ticks
}

// tickStep returns the step of Ticks, 0 when there is none. Two ticks on the
// ends of the range are as good as between them, hence the small allowance.
func tickStep(low, high float64, most int) float64 {
	if !(high > low) || math.IsInf(high-low, 0) || most < 2 || (high-low) < 1e-12*max(math.Abs(low), math.Abs(high)) {
		return 0
	}
	power := math.Floor(math.Log10((high - low) / float64(most)))
	for {
		for _, digit := range [...]float64{1, 2, 5} {
			step := scaled(digit, int(power))
			if math.Floor(high/step+1e-9)-math.Ceil(low/step-1e-9)+1 <= float64(most) {
				return step
			}
		}
		power++
	}
}

// scaled returns digit times ten to the power, rounded once.
func scaled(digit float64, power int) float64 {
	v, _ := strconv.ParseFloat(strconv.Itoa(int(digit))+"e"+strconv.Itoa(power), 64)
	return v
}

// rounded returns k steps as the nearest number with the step's decimals.
func rounded(k, step float64) float64 {
	v, err := strconv.ParseFloat(strconv.FormatFloat(k*step, 'f', decimals(step), 64), 64)
	if err != nil {
		return k * step
	}
	return v + 0 // -0 becomes 0
}

// decimals returns how many decimals tell multiples of a round step apart.
func decimals(step float64) int {
	return max(0, -int(math.Floor(math.Log10(step)+1e-9)))
}

// label prints a number with that many decimals and a true minus sign.
func label(v float64, decimals int) string {
	return strings.Replace(strconv.FormatFloat(v, 'f', decimals, 64), "-", "−", 1)
}

// barLength returns the round length, 1, 2 or 5 times a power of ten, that is
// the longest not above most.
func barLength(most float64) float64 {
	power := math.Floor(math.Log10(most))
	best := scaled(1, int(power))
	for _, digit := range [...]float64{2, 5} {
		if v := scaled(digit, int(power)); v <= most {
			best = v
		}
	}
	return best
}

// lengthLabel prints a length given in µm.
func lengthLabel(um float64) string {
	switch {
	case um >= 1000:
		return strconv.FormatFloat(um/1000, 'g', -1, 64) + " mm"
	case um < 1:
		return strconv.FormatFloat(math.Round(um*1e6)/1000, 'g', -1, 64) + " nm"
	}
	return strconv.FormatFloat(um, 'g', -1, 64) + " µm"
}
