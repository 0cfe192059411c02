package plan

import (
	"math"

	"dieglow/catalog/optics"
)

// list works the stacks that are to be listed out in full. One that does not meet
// the wishes then gives way to the next.
func (s *space) list(front []candidate, w Wishes, keep int, counts *Counts, progress func(Progress)) []Option {
	const mostRounds = 6
	known := map[candidate]*Option{}
	var chosen []candidate
	for range mostRounds {
		chosen = s.pick(front, keep)
		var fresh []candidate
		for _, c := range chosen {
			if _, there := known[c]; !there {
				fresh = append(fresh, c)
			}
		}
		options := make([]*Option, len(fresh))
		s.each("tracing the best in full", len(fresh), progress, func(i int) { options[i] = s.option(&fresh[i]) })
		counts.Sharpened += int64(len(fresh))
		for i, c := range fresh {
			if options[i] != nil && !options[i].meets(w) {
				options[i] = nil
			}
			known[c] = options[i]
		}
		var left []candidate
		for _, c := range front {
			if o, there := known[c]; !there || o != nil {
				left = append(left, c)
			}
		}
		if len(left) == len(front) {
			break
		}
		front = left
	}
	var list []Option
	for _, c := range chosen {
		if o := known[c]; o != nil {
			list = append(list, *o)
		}
	}
	markBest(list)
	return list
}

func (o *Option) meets(w Wishes) bool {
	return (w.ResolveUM == 0 || o.SmallestBarUM <= w.ResolveUM) && (w.FieldMM == 0 || o.FieldMM >= w.FieldMM) &&
		o.ClearanceMM >= w.ClearanceMM && (w.Budget == 0 || o.Cost <= w.Budget)
}

// option works a candidate out in full; nil when exact rays refuse it.
func (s *space) option(c *candidate) *Option {
	o := &Option{Seats: s.seats(c), Transmission: c.transmission, UpperBound: c.upperBound, Cost: c.cost, Ideal: c.ideal, FieldMM: c.fieldMM}
	p := optics.Prediction{Attachment: s.attachment(o.Seats), Contrast: s.Contrast}
	for k, w := range s.Waves {
		p.Waves = append(p.Waves, optics.Wave{WavelengthUM: w.WavelengthUM, Weight: w.Weight, Stack: s.stack(o.Seats, func(p Part) optics.Element { return p.Waves[k] })})
	}
	var err error
	if o.Exact, err = p.Attachment.Exact(); err != nil {
		return nil
	}
	if o.Sharpness, err = p.Sharpness(); err != nil {
		return nil
	}
	middle := o.Sharpness.Points[0]
	if middle.Tangential == nil || middle.Sagittal == nil {
		return nil
	}
	o.SmallestBarUM, o.Limit = middle.Tangential.SmallestBarUM, middle.Tangential.Limit
	if bar := middle.Sagittal.SmallestBarUM; bar > o.SmallestBarUM {
		o.SmallestBarUM, o.Limit = bar, middle.Sagittal.Limit
	}
	o.ObjectPixelUM = o.Sharpness.ObjectPixelUM
	o.ClearanceMM = o.Sharpness.WorkingDistanceMM + o.Exact.ClearanceMM - o.Exact.WorkingDistanceMM
	return o
}

// markBest names the figures in which an option is the best of the list. Where
// all are alike none is.
func markBest(list []Option) {
	for _, figure := range []struct {
		name  string
		value func(Option) float64 // the larger the better
	}{
		{"bar", func(o Option) float64 { return -o.SmallestBarUM }}, {"field", func(o Option) float64 { return o.FieldMM }},
		{"clearance", func(o Option) float64 { return o.ClearanceMM }}, {"transmission", func(o Option) float64 { return o.Transmission }},
		{"cost", func(o Option) float64 { return -o.Cost }},
	} {
		best, worst := math.Inf(-1), math.Inf(1)
		for _, o := range list {
			best, worst = max(best, figure.value(o)), min(worst, figure.value(o))
		}
		for i := range list {
			if figure.value(list[i]) == best && best > worst {
				list[i].BestIn = append(list[i].BestIn, figure.name)
			}
		}
	}
}
