package powermap

import (
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"dieglow/catalog/fault"
	"dieglow/catalog/quantity"
	"dieglow/notebook/frame"
)

// boxAndBlock is a scene of 128 x 96 pixels of 250 µm: a box of 30 x 20 pixels at
// 2e5 W/m², which are 7.5 W, at column and row 30, and a square block at 5e5 W/m²
// with its corner at column 80, row 60.
func boxAndBlock(block int) []float64 {
	power := make([]float64, 128*96)
	for i := range power {
		x, y := i%128, i/128
		if x >= 30 && x < 60 && y >= 30 && y < 50 {
			power[i] = 2e5
		}
		if x >= 80 && x < 80+block && y >= 60 && y < 60+block {
			power[i] = 5e5
		}
	}
	return power
}

// TestRegionIsCovered: the known power of the box lies within two of the stated
// standard uncertainties in at least nine trials of ten, whether the border of the
// region is that of the box or leaves room, whatever noise and blur.
func TestRegionIsCovered(t *testing.T) {
	t.Parallel()
	const seeds = 5
	for _, blur := range []float64{0, 800} {
		p := silicon()
		p.BlurUM = quantity.Exactly(blur)
		rise, err := p.Rise(boxAndBlock(6), 128, 96)
		if err != nil {
			t.Fatal(err)
		}
		for _, sigma := range []float64{0.02, 0.05, 0.2} {
			exact := 0.0
			for _, margin := range []int{0, 2, 5, 10} {
				var z []float64
				within, u := 0, 0.0
				for seed := range uint64(seeds) {
					r, err := Invert(Job{Plate: p, Width: 128, Height: 96, RiseK: noisy(rise, sigma, seed), NoiseK: &sigma,
						Region: &frame.Rect{X: 30 - margin, Y: 30 - margin, Width: 30 + 2*margin, Height: 20 + 2*margin}})
					if err != nil {
						t.Fatal(err)
					}
					z, u = append(z, (r.RegionW.Value-7.5)/r.RegionW.U), r.RegionW.U
					if math.Abs(z[seed]) <= 2 {
						within++
					}
				}
				t.Logf("blur %g µm, noise %g K, margin %d: u %.3f W, z %.2f", blur, sigma, margin, u, z)
				if within*10 < seeds*9 {
					t.Errorf("blur %g µm, noise %g K, margin %d: z %.2f", blur, sigma, margin, z)
				}
				// Room around the box makes its power surer.
				if margin == 0 {
					exact = u
				}
				if margin == 10 && u > exact/2 {
					t.Errorf("blur %g µm, noise %g K: u %.3f W with 10 pixels of room, %.3f without", blur, sigma, u, exact)
				}
			}
		}
	}
}

// TestPeakIsCovered: blocks of 3 to 40 pixels at 5e5 W/m²; where the peak reads
// high, the limit of that says so.
func TestPeakIsCovered(t *testing.T) {
	t.Parallel()
	for _, size := range []int{3, 6, 14, 30} {
		for _, blur := range []float64{0, 800} {
			p := silicon()
			p.BlurUM = quantity.Exactly(blur)
			rise, err := p.Rise(boxAndBlock(size), 128, 96)
			if err != nil {
				t.Fatal(err)
			}
			for _, sigma := range []float64{0.002, 0.02, 0.2} {
				if size == 3 && sigma == 0.2 {
					continue // the block is lost, and the peak is that of the box
				}
				for seed := range uint64(3) {
					r, err := Invert(Job{Plate: p, Width: 128, Height: 96, RiseK: noisy(rise, sigma, seed), NoiseK: &sigma})
					if err != nil {
						t.Fatal(err)
					}
					off := r.PeakWM2.Value - 5e5
					if math.Abs(off/r.PeakWM2.U) > 2 || off > 1.7*r.PeakHigh || -off > r.PeakLow+2*r.NoiseWM2 {
						t.Errorf("block of %d, blur %g µm, noise %g K: peak off by %.3g W/m², u %.3g, high by at most %.3g, low by at most %.3g", size, blur, sigma, off, r.PeakWM2.U, r.PeakHigh, r.PeakLow)
					}
				}
			}
		}
	}
}

// TestUniformRegion: what is the same inside and outside crosses no border (closed
// form), and the whole frame has none.
func TestUniformRegion(t *testing.T) {
	t.Parallel()
	rise := make([]float64, 64*48)
	for i := range rise {
		rise[i] = 4
	}
	sigma := 0.02
	for _, g := range []frame.Rect{{X: 20, Y: 10, Width: 9, Height: 9}, {Width: 64, Height: 48}} {
		r, err := Invert(Job{Plate: silicon(), Width: 64, Height: 48, RiseK: rise, NoiseK: &sigma, Region: &g})
		if err != nil {
			t.Fatal(err)
		}
		near(t, "lost", r.RegionLost, 0, 1e-9)
	}
}

// TestNegativeTotal: a map of rises with its sign turned is no map of rises.
func TestNegativeTotal(t *testing.T) {
	t.Parallel()
	sigma := 0.02
	rise := noisy(make([]float64, 64*48), sigma, 3)
	j := Job{Plate: silicon(), Width: 64, Height: 48, RiseK: rise, NoiseK: &sigma}
	if _, err := Invert(j); err != nil {
		t.Errorf("noise about nothing: %v", err)
	}
	for i := range rise {
		rise[i] -= 1
	}
	_, err := Invert(j)
	var f *fault.Error
	if !errors.As(err, &f) || !strings.Contains(f.Msg, "below nothing") || !strings.Contains(f.Hint, "--reference") {
		t.Errorf("falls in place of rises: %v", err)
	}
}

// TestAround compares with a look at every neighbour.
func TestAround(t *testing.T) {
	t.Parallel()
	const w, h = 13, 9
	random := rand.New(rand.NewPCG(5, 1))
	values := make([]float64, w*h)
	for i := range values {
		values[i] = math.Round(10 * random.NormFloat64())
	}
	for _, reach := range []int{1, 2, 5, 40} {
		least, most := around(values, w, h, reach)
		for i := range values {
			var near []float64
			for k, v := range values {
				if max(k%w-i%w, i%w-k%w) <= reach && max(k/w-i/w, i/w-k/w) <= reach {
					near = append(near, v)
				}
			}
			if least[i] != slices.Min(near) || most[i] != slices.Max(near) {
				t.Fatalf("reach %d, pixel %d: %g to %g, want %g to %g", reach, i, least[i], most[i], slices.Min(near), slices.Max(near))
			}
		}
	}
}
