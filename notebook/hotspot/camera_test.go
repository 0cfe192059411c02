package hotspot_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"dieglow/notebook/frame"
)

// stripes adds an offset of its own to every column.
func stripes(f frame.Frame, sd float64, seed uint64) frame.Frame {
	rng := rand.New(rand.NewPCG(seed, 2))
	offset := make([]float64, f.Width)
	for x := range offset {
		offset[x] = sd * rng.NormFloat64()
	}
	for i := range f.Pixels {
		f.Pixels[i] += offset[i%f.Width]
	}
	return f
}

// blurred is white noise of 1 under a Gaussian of that standard deviation in pixels,
// with a standard deviation of 1/(2 sqrt(pi) px).
func blurred(width, height int, px float64, seed uint64) frame.Frame {
	f := scene(width, height, 0, 1, seed)
	reach := int(4 * px)
	for _, step := range [...]int{1, width} {
		out := make([]float64, len(f.Pixels))
		for i := range out {
			at, count := i%width, width
			if step == width {
				at, count = i/width, height
			}
			for k := -reach; k <= reach; k++ {
				j := (at+k+count)%count - at // round the edges
				out[i] += f.Pixels[i+j*step] * math.Exp(-sq(float64(k)/px)/2) / (math.Sqrt(2*math.Pi) * px)
			}
		}
		f.Pixels = out
	}
	return f
}

// TestNoiseOfCameras: stripes of columns beside white noise, and noise that
// neighbours share, have the root of the sum of the variances and no spots; real
// spots are found on them and do not raise the noise, nor does an even slope.
func TestNoiseOfCameras(t *testing.T) {
	t.Parallel()
	const width, height = 160, 120
	level := func(f frame.Frame, noise float64, seed uint64) frame.Frame {
		white := scene(width, height, 25, noise, seed)
		for i, v := range white.Pixels {
			f.Pixels[i] += v + 0.01*float64(i%width)
		}
		return f
	}
	blank := func() frame.Frame {
		return frame.Frame{Width: width, Height: height, Unit: frame.DegC, Pixels: make([]float64, width*height)}
	}
	// Of stripes the one frame has its own spread, sd/sqrt(2 x 160) either way, and the
	// local background follows a little of both kinds.
	for name, tt := range map[string]struct {
		build func(seed uint64) frame.Frame
		want  float64
	}{
		"stripes":    {func(seed uint64) frame.Frame { return level(stripes(blank(), 0.1, seed), 0.05, seed+500) }, math.Hypot(0.1, 0.05)},
		"shared 1.5": {func(seed uint64) frame.Frame { return level(blurred(width, height, 1.5, seed), 0.02, seed+500) }, math.Hypot(0.5/math.Sqrt(math.Pi)/1.5, 0.02)},
		"shared 3":   {func(seed uint64) frame.Frame { return level(blurred(width, height, 3, seed), 0.05, seed+500) }, math.Hypot(0.5/math.Sqrt(math.Pi)/3, 0.05)},
		"white":      {func(seed uint64) frame.Frame { return level(blank(), 0.05, seed+500) }, 0.05},
	} {
		sum, spots := 0.0, 0
		const frames = 8
		for seed := range uint64(frames) {
			f := tt.build(seed)
			found := find(t, f, usual())
			sum, spots = sum+found.Noise.SD/frames, spots+len(found.Spots)
			r := tt.build(seed + 100)
			o := usual()
			o.Reference = &r
			spots += len(find(t, f, o).Spots)
			for _, b := range []bump{{20 * tt.want, 60.3, 40.6, 4, 4}, {40 * tt.want, 110, 80, 9, 6}} {
				for i := range f.Pixels {
					f.Pixels[i] += b.height * math.Exp(-sq((float64(i%width)-b.x)/b.sx)/2-sq((float64(i/width)-b.y)/b.sy)/2)
				}
			}
			if name == "white" { // what covers much of the frame does not raise it either
				wide := f
				wide.Pixels = append([]float64(nil), f.Pixels...)
				for i := range wide.Pixels {
					wide.Pixels[i] += 3 * math.Exp(-(sq(float64(i%width)-80)+sq(float64(i/width)-60))/(2*sq(6+4*float64(seed))))
				}
				if n := find(t, wide, usual()).Noise; n.SD > 1.4*tt.want {
					t.Errorf("a spot of %d pixels' standard deviation raises the noise to %+v", 6+4*seed, n)
				}
			}
			with := find(t, f, usual())
			// A stripe across the foot of a wide spot may pass for a third.
			near := len(with.Spots) > 1 && math.Hypot(with.Spots[0].XPx-110, with.Spots[0].YPx-80) < 2 && math.Hypot(with.Spots[1].XPx-60.3, with.Spots[1].YPx-40.6) < 1
			if ratio := with.Noise.SD / found.Noise.SD; !near || len(with.Spots) > 3 || ratio < 0.9 || ratio > 1.12 {
				t.Errorf("%s, frame %d: %d spots, noise %v with them and %v without", name, seed, len(with.Spots), with.Noise.SD, found.Noise.SD)
			}
		}
		t.Logf("%s: noise %.4f, true %.4f, %d false spots", name, sum, tt.want, spots)
		if math.Abs(sum/tt.want-1) > 0.12 || spots > 0 {
			t.Errorf("%s: noise %v, want %v; %d false spots in %d frames", name, sum, tt.want, spots, 2*frames)
		}
	}
}

// TestPlateau cuts Gaussians off at a level that the frame does not tell of. Rounded
// tops, whose levels hold as many pixels as the next, are no plateau, nor is one
// highest pixel.
func TestPlateau(t *testing.T) {
	t.Parallel()
	cut := func(f frame.Frame, sign, at float64) frame.Frame {
		for i, v := range f.Pixels {
			f.Pixels[i] = sign * math.Min(sign*v, at)
		}
		return f
	}
	round := func(f frame.Frame, step float64) frame.Frame {
		for i, v := range f.Pixels {
			f.Pixels[i] = math.Round(v/step) * step
		}
		return f
	}
	hot := func(noise float64) frame.Frame {
		return scene(96, 72, 25, noise, 3, bump{20, 30.3, 24.6, 3, 3}, bump{5, 70, 50, 3, 3})
	}
	for name, tt := range map[string]struct {
		f    frame.Frame
		cold bool
		want bool
	}{
		"whole": {hot(0.05), false, false}, "cut": {cut(hot(0.05), 1, 40), false, true}, "cut without noise": {cut(hot(0), 1, 40), false, true}, "cut and rounded": {round(cut(hot(0.05), 1, 40), 0.01), false, true},
		"rounded": {round(hot(0.05), 0.1), false, false}, "coarse": {round(hot(0), 1), false, false}, "wide and coarse": {round(scene(96, 72, 25, 0, 3, bump{20, 48, 36, 15, 15}), 0.5), false, false},
		"cold": {cut(scene(96, 72, 25, 0.05, 3, bump{-20, 30.3, 24.6, 3, 3}), -1, -10), true, true}, "cold of a hot cut": {cut(scene(96, 72, 25, 0.05, 3, bump{-20, 30.3, 24.6, 3, 3}, bump{20, 70, 50, 3, 3}), 1, 40), true, false},
	} {
		o := usual()
		o.Cold = tt.cold
		found := find(t, tt.f, o)
		if len(found.Spots) == 0 {
			t.Errorf("%s: no spot", name)
			continue
		}
		if s := found.Spots[0]; (s.SaturatedPx > 2) != tt.want || (found.PlateauPx > 2) != tt.want || len(found.Spots) > 1 && found.Spots[1].SaturatedPx > 0 {
			t.Errorf("%s: %d pixels cut off, in the first spot %d", name, found.PlateauPx, s.SaturatedPx)
		} else if tt.want && (math.Abs(s.XPx-30.3) > 0.1 || math.Abs(math.Abs(*s.FitRise)-20) > 2) {
			t.Errorf("%s: the fit without the plateau gives %v at %v, want 20 at 30.3", name, *s.FitRise, s.XPx)
		}
	}
}
