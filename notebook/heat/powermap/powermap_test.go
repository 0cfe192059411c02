package powermap

import (
	"bytes"
	"encoding/binary"
	"errors"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"strings"
	"testing"

	"dieglow/catalog/fault"
	"dieglow/catalog/quantity"
	"dieglow/notebook/frame"
)

// silicon is a die of 0.5 mm on a cooled back, seen at 250 µm a pixel.
func silicon() Plate {
	return Plate{PixelUM: quantity.Exactly(250), ThicknessMM: quantity.Exactly(0.5), ConductivityWMK: quantity.Exactly(148), FilmWM2K: quantity.Exactly(5000)}
}

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s: %v, want %v within %g", what, got, want, tol)
	}
}

// TestTransfer holds the transfer against the published form with one film (form
// and G(0) = 1/h + t/k: shared reference on thermal measurement, section 3), and
// both films against the heat balance of the two faces, solved apart.
func TestTransfer(t *testing.T) {
	t.Parallel()
	p := silicon()
	k, th, h := 148.0, 0.5e-3, 5000.0
	near(t, "G(0)", p.Transfer(0), 1/h+th/k, 1e-18)
	for _, kappa := range []float64{1, 30, 1000, 12566, 1e6} {
		x := math.Tanh(kappa * th)
		want := (k*kappa + h*x) / (k*kappa*x + h) / (k * kappa)
		near(t, "one film", p.Transfer(kappa)/want, 1, 1e-9)
	}
	p.TopFilmWM2K = quantity.Exactly(700)
	for _, kappa := range []float64{10, 1000, 5000} {
		// T = a cosh + b sinh: power 1 = h1 a - k kappa b at the seen face, and
		// k kappa (a sinh + b cosh) + h (a cosh + b sinh) = 0 at the other.
		sinh, cosh := math.Sinh(kappa*th), math.Cosh(kappa*th)
		u, v := k*kappa*sinh+h*cosh, k*kappa*cosh+h*sinh
		a := 1 / (700 + k*kappa*u/v)
		near(t, "two films", p.Transfer(kappa)/a, 1, 1e-12)
	}
	p = silicon()
	p.Thin = true
	near(t, "thin", p.Transfer(1000), 1/(148*0.5e-3*1e6+5000), 1e-18)
	thick := silicon()
	thick.ThicknessMM = quantity.Exactly(1e-3)
	thin := thick
	thin.Thin = true
	near(t, "a plate of 1 µm is thin", thick.Transfer(1000)/thin.Transfer(1000), 1, 1e-4)
}

// TestUniformAndCosine: uniform power q makes q/h on a thin plate and q (1/h +
// t/k) on the seen face of another; a cosine that fits between the insulated
// edges stays one (closed forms).
func TestUniformAndCosine(t *testing.T) {
	t.Parallel()
	const w, h = 60, 44
	uniform, cosine := make([]float64, w*h), make([]float64, w*h)
	for i := range uniform {
		uniform[i] = 2e4
		cosine[i] = 1e4 * (1 + math.Cos(math.Pi*3*(float64(i%w)+0.5)/w)*math.Cos(math.Pi*2*(float64(i/w)+0.5)/h))
	}
	p := silicon()
	thin := p
	thin.Thin = true
	for _, c := range []struct {
		p    Plate
		want float64
	}{{p, 2e4 * (1.0/5000 + 0.5e-3/148)}, {thin, 2e4 / 5000}} {
		rise, err := c.p.Rise(uniform, w, h)
		if err != nil {
			t.Fatal(err)
		}
		for _, v := range rise {
			near(t, "uniform", v, c.want, 1e-12)
		}
	}
	p.BlurUM = quantity.Exactly(300)
	rise, err := p.Rise(cosine, w, h)
	if err != nil {
		t.Fatal(err)
	}
	kappa := math.Hypot(math.Pi*3/(w*250e-6), math.Pi*2/(h*250e-6))
	g := p.Transfer(kappa) * math.Exp(-math.Pow(kappa*300e-6/2.354820045, 2)/2)
	for i, v := range rise {
		near(t, "cosine", v, 1e4*p.Transfer(0)+(cosine[i]-1e4)*g, 1e-9)
	}
}

// TestPointOnThinPlate: P/(2 pi k t) K0(r/lambda) of a plate with k 20, t 1.6 mm,
// h 20 and 1 W (shared reference, section 3, computed there independently).
func TestPointOnThinPlate(t *testing.T) {
	t.Parallel()
	const n = 640
	p := Plate{PixelUM: quantity.Exactly(500), ThicknessMM: quantity.Exactly(1.6), ConductivityWMK: quantity.Exactly(20), FilmWM2K: quantity.Exactly(20), Thin: true}
	power := make([]float64, n*n)
	power[n/2*n+n/2] = 1 / 0.25e-6
	rise, err := p.Rise(power, n, n)
	if err != nil {
		t.Fatal(err)
	}
	for mm, want := range map[int]float64{5: 10.98104, 10: 7.666826, 20: 4.597683, 40: 2.094004} {
		// The mirrors at four diffusion lengths add 0.1 % at most; the point is a pixel.
		near(t, "K0", rise[n/2*n+n/2+2*mm]/want, 1, 3e-3)
	}
}

// TestDiscOnThinPlate: inside a disc of radius a with power q, (q/h)(1 - x K1(x)
// I0(r/lambda)), and outside (q/h) x I1(x) K0(r/lambda), with x = a/lambda; the
// Bessel functions from their integrals.
func TestDiscOnThinPlate(t *testing.T) {
	t.Parallel()
	const n, a = 256, 20.0 // pixels of 250 µm
	p := silicon()
	p.Thin = true
	power := make([]float64, n*n)
	for i := range power {
		power[i] = 1e5 * covered(float64(i%n)-n/2, float64(i/n)-n/2, a)
	}
	rise, err := p.Rise(power, n, n)
	if err != nil {
		t.Fatal(err)
	}
	lambda := math.Sqrt(148*0.5e-3/5000) / 250e-6 // pixels
	x := a / lambda
	for _, r := range []int{0, 5, 10, 30, 40, 60} {
		want := 20 * (1 - x*besselK(1, x)*besselI(0, float64(r)/lambda))
		if float64(r) > a {
			want = 20 * x * besselI(1, x) * besselK(0, float64(r)/lambda)
		}
		near(t, "disc", rise[n/2*n+n/2+r], want, 0.004) // of 20 K; the rim is in steps of pixels
	}
}

// covered is the share of a pixel inside a disc about the origin.
func covered(x, y, radius float64) float64 {
	in := 0
	for i := range 16 {
		for j := range 16 {
			if math.Hypot(x+(float64(i)-7.5)/16, y+(float64(j)-7.5)/16) < radius {
				in++
			}
		}
	}
	return float64(in) / 256
}

func besselK(order, x float64) float64 {
	sum := 0.0
	for i := range 4000 {
		u := (float64(i) + 0.5) * 0.003
		sum += math.Exp(-x*math.Cosh(u)) * math.Cosh(order*u) * 0.003
	}
	return sum
}

func besselI(order, x float64) float64 {
	sum := 0.0
	for i := range 2000 {
		u := math.Pi * (float64(i) + 0.5) / 2000
		sum += math.Exp(x*math.Cos(u)) * math.Cos(order*u) / 2000
	}
	return sum
}

// heaters is a scene of 256 x 192 pixels: a disc of 1.5 mm radius and 0.8 W, a
// rectangle of 4 x 2 mm and 0.4 W, and 0.1 W everywhere.
func heaters() (power []float64, disc, total float64) {
	const w, h = 256, 192
	power = make([]float64, w*h)
	area := 0.0
	for i := range power {
		area += covered(float64(i%w)-90, float64(i/w)-80, 6)
	}
	for i := range power {
		x, y := i%w, i/w
		power[i] = 0.8/(area*6.25e-8)*covered(float64(x)-90, float64(y)-80, 6) + 0.1/(w*h*6.25e-8)
		if x >= 160 && x < 176 && y >= 100 && y < 108 {
			power[i] += 0.4 / (128 * 6.25e-8)
		}
	}
	return power, 0.8, 1.3
}

func noisy(rise []float64, sigma float64, seed uint64) []float64 {
	random := rand.New(rand.NewPCG(seed, 1))
	out := make([]float64, len(rise))
	for i, v := range rise {
		out[i] = v + sigma*random.NormFloat64()
	}
	return out
}

// TestRoundTrip sends a scene forwards, adds noise, and inverts. The scatter of
// total and region over the seeds must be what is stated.
func TestRoundTrip(t *testing.T) {
	t.Parallel()
	power, disc, total := heaters()
	p := silicon()
	p.BlurUM = quantity.Exactly(400)
	rise, err := p.Rise(power, 256, 192)
	if err != nil {
		t.Fatal(err)
	}
	sigma := 0.02
	region := &frame.Rect{X: 78, Y: 68, Width: 25, Height: 25}
	inside := disc + 0.1*625/(256*192)
	var totals, regions, limits []float64
	for seed := range uint64(12) {
		r, err := Invert(Job{Plate: p, Width: 256, Height: 192, RiseK: noisy(rise, sigma, seed), NoiseK: &sigma, Region: region})
		if err != nil {
			t.Fatal(err)
		}
		totals = append(totals, (r.TotalW.Value-total)/r.TotalW.U)
		regions = append(regions, (r.RegionW.Value-inside)/r.RegionW.U)
		limits = append(limits, r.RegionLost)
		if seed > 0 {
			continue
		}
		t.Logf("%s: alpha %.3g of the mean's, %.0f parameters, %.0f µm, peak %.4g of %.4g, high by at most %.3g, u %.3g; region %.4f within %.4f u %.4f; residual %.4f; negative %.3f",
			r.Rule, r.Relative, r.Parameters, r.ResolvedUM, r.PeakWM2.Value, power[80*256+90], r.PeakHigh, r.PeakWM2.U, r.RegionW.Value, r.RegionLost, r.RegionW.U, r.ResidualK, r.NegativeW)
		if math.Hypot(float64(r.PeakX-90), float64(r.PeakY-80)) > 6 {
			t.Errorf("peak at %d, %d, want inside the disc about 90, 80", r.PeakX, r.PeakY)
		}
		// Ringing adds up to 18 %, the largest of many noisy pixels the rest.
		near(t, "peak over the disc's", r.PeakWM2.Value/power[80*256+90], 1.1, 0.15)
		near(t, "residual", r.ResidualK/sigma, math.Sqrt(1-2*r.Parameters/(256*192)), 0.05)
		g, err := Invert(Job{Plate: p, Width: 256, Height: 192, RiseK: noisy(rise, sigma, seed)})
		if err != nil {
			t.Fatal(err)
		}
		near(t, "noise from the map", g.NoiseK, sigma, 0.02*sigma)
		near(t, "alpha from the map", math.Log(g.Alpha/r.Alpha), 0, 0.5)
	}
	for name, z := range map[string][]float64{"total": totals, "region": regions} {
		sum, squares := 0.0, 0.0
		for _, v := range z {
			sum += v
			squares += v * v
		}
		// The total has no bias: the mean square of twelve normal values is 1 within
		// 1.2, their mean 0 within 0.9, at three deviations. That of the region has a
		// limit for its bias, which it may use up on one side.
		if name == "total" && math.Abs(sum/12) > 0.9 || squares/12 > 2.2 {
			t.Errorf("%s: normalised errors %.2f, region limits %.4f", name, z, limits)
		}
	}
}

// TestUncertainInputs: with power that is uniform the total is h T A, less a
// little for the thickness, so that relative uncertainties of film and area carry
// over (closed form).
func TestUncertainInputs(t *testing.T) {
	t.Parallel()
	p := silicon()
	p.FilmWM2K, p.PixelUM = quantity.With(5000, 250), quantity.With(250, 2.5)
	rise := make([]float64, 64*48)
	for i := range rise {
		rise[i] = 4
	}
	sigma := 0.02
	r, err := Invert(Job{Plate: p, Width: 64, Height: 48, RiseK: rise, NoiseK: &sigma})
	if err != nil {
		t.Fatal(err)
	}
	area := 64 * 48 * 6.25e-8
	near(t, "total", r.TotalW.Value, 4*area/(1.0/5000+0.5e-3/148), 1e-9)
	share := (1.0 / 5000) / (1.0/5000 + 0.5e-3/148)
	for _, part := range r.TotalW.Parts {
		switch want := 0.0; part.Input {
		case "film":
			want = 0.05 * share
			near(t, "film", part.U/r.TotalW.Value, want, 0.003)
		case "pixel":
			near(t, "pixel", part.U/r.TotalW.Value, 0.02, 0.0002)
		case "noise":
			near(t, "noise", part.U/r.TotalW.Value, sigma/4/math.Sqrt(64*48), 1e-9)
		}
	}
	if got := strings.Join(r.NotStated, ","); got != "thickness,conductivity" {
		t.Errorf("not stated: %s", got)
	}
}

func TestRefused(t *testing.T) {
	t.Parallel()
	flat := make([]float64, 32*24)
	for _, c := range []struct {
		name string
		edit func(*Job)
		says string
	}{
		{"no film", func(j *Job) { j.Plate.FilmWM2K = quantity.Exactly(0) }, "without a film"},
		{"negative film", func(j *Job) { j.Plate.FilmWM2K = quantity.Exactly(-5) }, "film coefficient of -5"},
		{"no thickness", func(j *Job) { j.Plate.ThicknessMM = quantity.Exactly(0) }, "thickness of 0 mm"},
		{"no conductivity", func(j *Job) { j.Plate.ConductivityWMK = quantity.Exactly(math.NaN()) }, "conductivity of NaN"},
		{"no pixel", func(j *Job) { j.Plate.PixelUM = quantity.Exactly(0) }, "object pixel of 0"},
		{"missing", func(j *Job) { j.RiseK = append([]float64(nil), flat...); j.RiseK[33] = math.NaN() }, "column 1, row 1 is missing"},
		{"no noise", func(j *Job) { j.NoiseK = new(float64) }, "noise of 0 K"},
		{"outside", func(j *Job) { j.Region = &frame.Rect{X: 20, Y: 0, Width: 20, Height: 4} }, "reaches outside"},
	} {
		j := Job{Plate: silicon(), Width: 32, Height: 24, RiseK: flat}
		c.edit(&j)
		_, err := Invert(j)
		var f *fault.Error
		if !errors.As(err, &f) || !strings.Contains(f.Msg, c.says) || f.Hint == "" {
			t.Errorf("%s: %v", c.name, err)
		}
	}
}

// TestAgreesWithScipy compares transform, choice of alpha aside, with scipy.fft.
func TestAgreesWithScipy(t *testing.T) {
	t.Parallel()
	const python = "/usr/bin/python3"
	if err := exec.Command(python, "-c", "import scipy.fft").Run(); err != nil {
		if os.Getenv("DIEGLOW_OUTSIDE") == "1" {
			t.Fatalf("DIEGLOW_OUTSIDE=1, and %s has no scipy: %v", python, err)
		}
		t.Skipf("%s has no scipy; install python3-scipy to compare", python)
	}
	const w, h = 50, 36
	p := silicon()
	p.BlurUM = quantity.Exactly(400)
	rise := noisy(make([]float64, w*h), 1, 77)
	sigma := 0.8
	r, err := Invert(Job{Plate: p, Width: w, Height: h, RiseK: rise, NoiseK: &sigma})
	if err != nil {
		t.Fatal(err)
	}
	in := append([]float64{w, h, 250e-6, 0.5e-3, 148, 5000, 400e-6, r.Alpha}, rise...)
	var stdin, stdout, stderr bytes.Buffer
	if err := binary.Write(&stdin, binary.LittleEndian, in); err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(python, "testdata/invert_scipy.py")
	cmd.Stdin, cmd.Stdout, cmd.Stderr = &stdin, &stdout, &stderr
	if err := cmd.Run(); err != nil {
		t.Fatalf("scipy: %v\n%s", err, stderr.String())
	}
	theirs := make([]float64, w*h)
	if err := binary.Read(&stdout, binary.LittleEndian, theirs); err != nil {
		t.Fatal(err)
	}
	for i, v := range r.PowerWM2 {
		if math.Abs(v-theirs[i]) > 1e-9*r.PeakWM2.Value {
			t.Fatalf("pixel %d: %v here, %v there", i, v, theirs[i])
		}
	}
}

func BenchmarkInvert256x192(b *testing.B) {
	power, _, _ := heaters()
	p := silicon()
	p.BlurUM = quantity.Exactly(400)
	rise, err := p.Rise(power, 256, 192)
	if err != nil {
		b.Fatal(err)
	}
	sigma := 0.02
	rise = noisy(rise, sigma, 1)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := Invert(Job{Plate: p, Width: 256, Height: 192, RiseK: rise, NoiseK: &sigma, Region: &frame.Rect{X: 78, Y: 68, Width: 25, Height: 25}}); err != nil {
			b.Fatal(err)
		}
	}
}
