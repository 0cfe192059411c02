package hotspot

import "math"

// A value that is cut off comes again and again in pixels that touch, while a level
// of rounded numbers holds about as many pixels as the one next to it.
const (
	fewestCut = 3
	cutShare  = 3 // times as many as at the next value
)

// cutOff returns the pixels where the frame is cut off at its highest value, or its
// lowest for cold spots: those that touch others of exactly that value, where there
// are several together and far more than at the next value.
func (g *ground) cutOff() []int {
	top, next := math.Inf(-1), math.Inf(-1)
	var atTop []int
	atNext := 0
	for i, v := range g.frame.Pixels {
		switch v *= g.sign; {
		case v > top:
			next, atNext = top, len(atTop)
			top, atTop = v, append(atTop[:0], i)
		case v == top:
			atTop = append(atTop, i)
		case v > next:
			next, atNext = v, 1
		case v == next:
			atNext++
		}
	}
	if len(atTop) < fewestCut || len(atTop) <= cutShare*atNext || len(atTop) == countFinite(g.frame.Pixels) {
		return nil
	}
	seen := map[int]bool{}
	var out []int
	for _, start := range atTop {
		if seen[start] {
			continue
		}
		set := []int{start}
		seen[start] = true
		for k := 0; k < len(set); k++ {
			g.around(set[k], func(j int) {
				if !seen[j] && g.frame.Pixels[j] == g.frame.Pixels[start] {
					seen[j] = true
					set = append(set, j)
				}
			})
		}
		if len(set) >= fewestCut {
			out = append(out, set...)
		}
	}
	return out
}
