package drawing

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg/draw"

	"dieglow/catalog/fault"
	"dieglow/catalog/optics"
)

func airyLine() line  { return line{colour: ink(), widthMM: medium} }
func pixelLine() line { return line{colour: ink(), widthMM: medium, dashMM: dashed()} }

// Spots draws spot diagrams at one scale, with the first dark ring of the
// diffraction pattern and the object pixel at the same scale. Fault Invalid when
// there are none, or a size is below 0 or not finite.
func Spots(title string, diagrams []optics.SpotDiagram, airyRadiusUM, pixelUM float64) (Drawing, error) {
	if len(diagrams) == 0 || !(airyRadiusUM >= 0 && pixelUM >= 0) || math.IsInf(airyRadiusUM+pixelUM, 0) {
		return Drawing{}, fault.Invalidf("there are no spots to draw, or no finite scale for them").WithHint("predict the spots of a setup first")
	}
	var waves []float64
	for _, d := range diagrams {
		for _, q := range d.Points {
			if !slices.Contains(waves, q.WavelengthUM) {
				waves = append(waves, q.WavelengthUM)
			}
		}
	}
	slices.Sort(waves)
	reach := max(1.15*max(airyRadiusUM, pixelUM/2, spotReach(diagrams)), 1e-3)
	rows := make([][]*plot.Plot, 2)
	for i, d := range diagrams {
		same, own := spotPanel(d, waves, airyRadiusUM, pixelUM), spotPanel(d, waves, airyRadiusUM, pixelUM)
		within(same, -reach, reach, -reach, reach)
		size := max(1.15*spotReach([]optics.SpotDiagram{d}), 1e-3)
		within(own, -size, size, -size, size)
		own.Title.Text = d.Name + ", at its own scale"
		if i > 0 {
			same.Y.Label.Text, own.Y.Label.Text = "", ""
		}
		rows[0], rows[1] = append(rows[0], same), append(rows[1], own)
	}
	return Drawing{title: title, paint: func(p pen) {
		p.head(title+": spots, predicted", "Where exact rays of the whole band meet the specimen, from their centroid, above at one scale. Tangential is along the line to the corner. The camera's own lens is taken as perfect.")
		panels(p, rows, 28, true)
		list := []entry{{airyLine(), nil, "first dark ring of diffraction, radius " + fixed(airyRadiusUM, 3) + " µm"}, {pixelLine(), nil, "object pixel, " + fixed(pixelUM, 3) + " µm"}}
		for i, um := range waves {
			list = append(list, entry{line{colour: waveColour(wavePlace(i, len(waves)))}, waveMark(i), waveText(um)})
		}
		p.keys(19, list)
	}}, nil
}

// spotReach is how far points lie from their centroids.
func spotReach(diagrams []optics.SpotDiagram) float64 {
	reach := 0.0
	for _, d := range diagrams {
		for _, q := range d.Points {
			if q.Weight > 0 && finite(q.SagittalUM) && finite(q.TangentialUM) {
				reach = max(reach, math.Abs(q.SagittalUM), math.Abs(q.TangentialUM))
			}
		}
	}
	return reach
}

// spotPanel draws one diagram.
func spotPanel(d optics.SpotDiagram, waves []float64, airyUM, pixelUM float64) *plot.Plot {
	title := d.Name + ": rms radius " + fixed(d.RMSUM, 3) + " µm"
	if len(d.Points) == 0 {
		title = d.Name + ": no light reaches this point"
	}
	p := newPlot(title, "sagittal, µm", "tangential, µm")
	for i, um := range waves {
		var points plotter.XYs
		for _, q := range d.Points {
			if q.WavelengthUM == um && q.Weight > 0 && finite(q.SagittalUM) && finite(q.TangentialUM) {
				points = append(points, plotter.XY{X: q.SagittalUM, Y: q.TangentialUM})
			}
		}
		dots(p, draw.GlyphStyle{Color: waveColour(wavePlace(i, len(waves))), Radius: mm(0.3), Shape: waveMark(i)}, points)
	}
	const turns = 120
	var xs, ys []float64
	for k := range turns + 1 {
		sin, cos := math.Sincos(2 * math.Pi * float64(k) / turns)
		xs, ys = append(xs, airyUM*cos), append(ys, airyUM*sin)
	}
	curve(p, airyLine(), xs, ys)
	h := pixelUM / 2
	curve(p, pixelLine(), []float64{-h, h, h, -h, -h}, []float64{-h, -h, h, h, -h})
	return p
}

// RayFans draws the aberration over the pupil: tangential fans above, sagittal
// ones below, a column for each point of the field, all at one scale. Fault
// Invalid when there are none.
func RayFans(title string, fans []optics.RayFan) (Drawing, error) {
	var names []string
	var waves []float64
	reach := 0.0
	for _, f := range fans {
		if !slices.Contains(names, f.Name) {
			names = append(names, f.Name)
		}
		if !slices.Contains(waves, f.WavelengthUM) {
			waves = append(waves, f.WavelengthUM)
		}
		for _, q := range slices.Concat(f.Tangential, f.Sagittal) {
			if finite(q.BlurUM) {
				reach = max(reach, math.Abs(q.BlurUM))
			}
		}
	}
	if len(names) == 0 {
		return Drawing{}, fault.Invalidf("there are no ray fans to draw").WithHint("predict the ray fans of a setup first")
	}
	slices.Sort(waves)
	if reach *= 1.08; reach < 1e-6 {
		reach = 1e-6 // rounding is no aberration
	}
	rows := make([][]*plot.Plot, 2)
	for i, direction := range []string{"tangential", "sagittal"} {
		for k, name := range names {
			p := newPlot(fmt.Sprintf("%s, %s", name, direction), "share of the pupil's radius", "blur, µm")
			if k > 0 {
				p.Y.Label.Text = ""
			}
			fanCurves(p, fans, name, i == 0, waves)
			within(p, -1, 1, -reach, reach)
			rows[i] = append(rows[i], p)
		}
	}
	return Drawing{title: title, paint: func(p pen) {
		p.head(title+": ray fans, predicted", "Where exact rays meet the specimen, from the main wavelength's chief ray. Rays that are stopped are left out. The camera's own lens is taken as perfect.")
		panels(p, rows, 26, false)
		var list []entry
		for i, um := range waves {
			list = append(list, entry{fanLine(i, len(waves)), nil, waveText(um)})
		}
		p.keys(17, list)
	}}, nil
}

func fanLine(i, n int) line {
	return line{colour: waveColour(wavePlace(i, n)), widthMM: 0.35, dashMM: waveDash(i)}
}

// fanCurves adds the fans of one point of the field and one direction.
func fanCurves(p *plot.Plot, fans []optics.RayFan, name string, tangential bool, waves []float64) {
	curve(p, line{colour: faint(), widthMM: thin}, []float64{-1, 1}, []float64{0, 0})
	for _, f := range fans {
		if f.Name != name {
			continue
		}
		list := f.Sagittal
		if tangential {
			list = f.Tangential
		}
		var xs, ys []float64
		for _, q := range list {
			xs, ys = append(xs, q.Pupil), append(ys, q.BlurUM)
		}
		curve(p, fanLine(slices.Index(waves, f.WavelengthUM), len(waves)), xs, ys)
	}
}
