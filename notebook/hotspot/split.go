package hotspot

import (
	"cmp"
	"math"
	"slices"
)

// components returns the sets of touching pixels, corners included, that rise above
// half a height, where one of them rises above the height.
func (g *ground) components(height float64) [][]int {
	var out [][]int
	seen := make([]bool, len(g.local))
	for start, v := range g.local {
		if seen[start] || !(v > height) {
			continue
		}
		set := []int{start}
		seen[start] = true
		for k := 0; k < len(set); k++ {
			g.around(set[k], func(j int) {
				if !seen[j] && g.local[j] > height/2 {
					seen[j] = true
					set = append(set, j)
				}
			})
		}
		out = append(out, set)
	}
	return out
}

// basin is what belongs to one peak.
type basin struct {
	peak float64 // on the smoothed rises
	into int     // the basin it has joined, itself while it stands alone
}

type basins []basin

// root returns the basin that one has become part of.
func (b basins) root(k int) int {
	for b[k].into != k {
		b[k].into = b[b[k].into].into // so that the way is shorter next time
		k = b[k].into
	}
	return k
}

// split tells touching spots apart: pixels are taken from the highest down, each
// joins the basin it touches, and where two basins meet the lower one joins the
// higher unless its peak stands high enough over the meeting place.
func (g *ground) split(set []int, o Options) [][]int {
	smooth := g.smoothed(set)
	order := make([]int, len(set))
	for i := range order {
		order[i] = i
	}
	slices.SortFunc(order, func(a, b int) int {
		return cmp.Or(cmp.Compare(smooth[b], smooth[a]), cmp.Compare(set[a], set[b]))
	})
	noise := o.ThresholdSD * g.noise.SD * smoothedNoise(g.noise)
	var all basins
	for _, k := range order {
		v, home := smooth[k], -1
		g.around(set[k], func(j int) {
			if g.owner[j] == nobody {
				return
			}
			b := all.root(int(g.owner[j]))
			if home < 0 || b == home {
				home = b
				return
			}
			high, low := home, b
			if all[low].peak > all[high].peak {
				high, low = low, high
			}
			if depth := all[low].peak - v; depth < math.Max(noise, o.SaddleShare*all[low].peak) {
				all[low].into = high
			}
			home = high
		})
		if home < 0 {
			home = len(all)
			all = append(all, basin{v, home})
		}
		g.owner[set[k]] = int32(home)
	}
	return g.gather(set, all)
}

// gather collects the pixels of each basin left and forgets their owners.
func (g *ground) gather(set []int, all basins) [][]int {
	parts := make([][]int, len(all))
	for _, i := range set {
		b := all.root(int(g.owner[i]))
		parts[b] = append(parts[b], i)
		g.owner[i] = nobody
	}
	parts = slices.DeleteFunc(parts, func(p []int) bool { return len(p) == 0 })
	for _, p := range parts {
		slices.Sort(p)
	}
	return parts
}

// smoothed returns the rises of a set weighted 1 2 1 along rows and columns, of
// the pixels that are there.
func (g *ground) smoothed(set []int) []float64 {
	out := make([]float64, len(set))
	for k, i := range set {
		sum, weight := 4*g.local[i], 4.0
		g.around(i, func(j int) {
			v := g.local[j]
			if v != v {
				return
			}
			w := 1.0
			if j%g.width == i%g.width || j/g.width == i/g.width {
				w = 2
			}
			sum, weight = sum+w*v, weight+w
		})
		out[k] = sum / weight
	}
	return out
}

// smoothedNoise is the share of the noise that the weights 1 2 1 by 1 2 1 leave:
// 6/16 where every pixel has its own, more where neighbours share it.
func smoothedNoise(n Noise) float64 {
	return math.Min(1, 6.0/16*math.Sqrt(n.CorrelatedPx))
}
