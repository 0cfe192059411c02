package frame

import (
	"math"
	"sync"

	"dieglow/catalog/fault"
)

// Frames at one place of the cycle are added while their sums lie in the nearest
// caches: those of a window of cycles, a batch of frames at a time. A longer
// window would jump further about in the file.
const (
	foldBatch  = 4
	foldWindow = 16
	foldPart   = 1024 // pixels a worker takes at least, so that its sums outweigh the calls for them
)

// folding is Fold for 16-bit samples, added as in averageBlock or as nearSums. Where
// many cycles are summed at a time, two workers take half of them each, since whole
// frames are read faster, and then half of the pixels each to hand over. Otherwise
// each takes its half of the pixels all through.
type folding struct {
	Folding
	b      *block
	k      kernel
	first  int // frame of the file where the folding begins
	size   int // pixels of a frame
	splits []int
}

// folder holds the sums of one worker for the pixels from pixel on.
type folder struct {
	*folding
	pixel, pixels int
	places        []*meanSums // they share what is counted of saturation
	near          *nearSums   // nil where samples are not added that way
	buf           []byte
}

func (s *Stack) foldBlock(b *block, k kernel, f Folding, part func(pixel, pixels int) Receive) (Folded, error) {
	left := b.frames - b.at
	if f.Frames == 0 {
		f.Frames = left
	}
	if err := s.folded(min(left, f.Frames), f); err != nil {
		return Folded{}, err
	}
	f.Cycles = min(f.Cycles, meanFlush) // sums of 32 bits hold no more
	g := &folding{Folding: f, b: b, k: k, first: b.at, size: s.info.Width * s.info.Height}
	n := max(1, min(meanWorkers, g.size/foldPart))
	var take []Receive
	for w := range n + 1 {
		g.splits = append(g.splits, w*g.size/n&^3) // parts begin at whole words of four samples
	}
	g.splits[n] = g.size
	for w := range n {
		take = append(take, part(g.splits[w], g.splits[w+1]-g.splits[w]))
	}
	workers, err := g.run(take)
	b.at += f.Frames
	s.index += f.Frames
	if err != nil {
		s.err = named(s.path, err)
		return Folded{}, s.err
	}
	return g.saturation(workers), nil
}

// run folds; take has a receiver for each part of the pixels.
func (g *folding) run(take []Receive) ([]*folder, error) {
	byTime := len(take) > 1 && g.Cycles >= 2*foldWindow
	workers := make([]*folder, len(take))
	for w := range workers {
		from, to := g.splits[w], g.splits[w+1]
		if byTime {
			from, to = 0, g.size
		}
		workers[w] = g.folder(from, to-from)
		if w > 0 && byTime {
			workers[w].near = workers[0].near.again()
			continue
		}
		if err := workers[w].begin(); err != nil {
			return nil, err
		}
	}
	if byTime {
		return workers, g.runByTime(workers, take)
	}
	return workers, together(len(workers), func(w int) error {
		values := make([]float64, workers[w].pixels)
		for at := 0; at < g.Frames; at += g.Length * g.Cycles {
			n := min(g.Length*g.Cycles, g.Frames-at)
			if err := workers[w].add(at, n); err != nil {
				return err
			}
			g.handOver(workers[w:w+1], at, g.splits[w], values, take[w])
			workers[w].forget()
		}
		return nil
	})
}

// runByTime gives each worker its half of the cycles, and then of the pixels.
func (g *folding) runByTime(workers []*folder, take []Receive) error {
	values := make([]float64, g.size)
	step := g.Length * g.Cycles
	for at := 0; at < g.Frames; at += step {
		n := min(step, g.Frames-at)
		half := min(n, (n/g.Length+1)/2*g.Length)
		err := together(2, func(w int) error {
			if w == 0 {
				return workers[0].add(at, half)
			}
			return workers[1].add(at+half, n-half)
		})
		if err != nil {
			return err
		}
		err = together(len(take), func(w int) error {
			g.handOver(workers, at, g.splits[w], values[g.splits[w]:g.splits[w+1]], take[w])
			return nil
		})
		if err != nil {
			return err
		}
		for _, w := range workers {
			w.forget()
		}
	}
	return nil
}

// together runs n pieces of work at once and returns the first error in their order.
func together(n int, work func(w int) error) error {
	errs := make([]error, n)
	var group sync.WaitGroup
	for w := range n {
		group.Go(func() { errs[w] = work(w) })
	}
	group.Wait()
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return nil
}

func (g *folding) folder(pixel, pixels int) *folder {
	w := &folder{folding: g, pixel: pixel, pixels: pixels, buf: make([]byte, foldBatch*2*pixels)}
	shared := newMeanSums(pixels)
	w.places = append(w.places, shared)
	for range min(g.Length, g.Frames) - 1 {
		w.places = append(w.places, &meanSums{even: make([]uint64, pixels/4), odd: make([]uint64, pixels/4), tail: make([]uint32, pixels%4), total: shared.total, saturated: shared.saturated})
	}
	return w
}

// begin looks at the first frame.
func (w *folder) begin() error {
	if err := w.read(0, 0); err != nil {
		return err
	}
	w.near = newNearSums(w.k, w.buf[:2*w.pixels], len(w.places))
	return nil
}

// read reads a frame into a place of the buffer.
func (w *folder) read(number, place int) error {
	bytes := 2 * w.pixels
	offset := w.b.offset + 2*(int64(w.first+number)*int64(w.size)+int64(w.pixel))
	if _, err := w.b.file.ReadAt(w.buf[place*bytes:(place+1)*bytes], offset); err != nil {
		return fault.Otherf("frame %d not read", w.first+number).Because(err)
	}
	return nil
}

// add adds n frames from number at on, which is the first of a cycle.
func (w *folder) add(at, n int) error {
	window := foldWindow * w.Length
	for from := at; from < at+n; from += window {
		end := min(at+n, from+window)
		for place, m := range w.places[:min(w.Length, end-from)] {
			frames := 0
			for number := from + place; number < end; number += w.Length {
				if err := w.read(number, frames); err != nil {
					return err
				}
				if frames++; frames == foldBatch && w.near.add(w.buf, 2*w.pixels) {
					frames = 0
				}
				if frames == foldBatch || number+w.Length >= end {
					m.add(w.k, w.buf[:frames*2*w.pixels], frames, w.pixels)
					frames = 0
				}
			}
			w.near.moveTo(m, place)
		}
	}
	return nil
}

// forget begins anew, after all sums have been handed over.
func (w *folder) forget() {
	for place, m := range w.places {
		m.pending = 0
		w.near.forget(place)
	}
}

// handOver hands over the sums of the frames from number at on, of all workers
// together, for the pixels from first on, as many as there are values.
func (g *folding) handOver(workers []*folder, at, first int, values []float64, take Receive) {
	for place := range workers[0].places {
		frames := 0
		for _, w := range workers {
			frames += w.places[place].pending
		}
		if frames == 0 {
			return
		}
		g.empty(workers, place, first, values)
		take(Sums{First: at + place, Frames: frames, Pixel: first, Values: values})
	}
}

// empty moves sums into values.
func (g *folding) empty(workers []*folder, place, first int, values []float64) {
	clear(values)
	order := [4]int{0, 1, 2, 3}
	if g.k.bigEndian {
		order = [4]int{3, 2, 1, 0}
	}
	for _, w := range workers {
		m, from := w.places[place], first-w.pixel
		shift := float64(m.pending) * (g.k.zero - g.k.bias)
		words := len(values) / 4
		even, odd := m.even[from/4:][:words], m.odd[from/4:][:words]
		for i, e := range even {
			o, v := odd[i], values[4*i:4*i+4]
			v[order[0]] += float64(e&math.MaxUint32) + shift
			v[order[1]] += float64(o&math.MaxUint32) + shift
			v[order[2]] += float64(e>>32) + shift
			v[order[3]] += float64(o>>32) + shift
		}
		w.near.addBase(values, from/4, place)
		clear(even)
		clear(odd)
		if 4*words < len(values) { // the last pixels of the frame
			for t, v := range m.tail {
				values[4*words+t] += float64(v) + shift
			}
			clear(m.tail)
		}
	}
}

// saturation adds up what the workers counted.
func (g *folding) saturation(workers []*folder) Folded {
	out := Folded{Frames: g.Frames}
	saturated := make([]bool, g.size)
	for _, w := range workers {
		for _, m := range w.places {
			out.SaturatedSamples += m.samples
		}
		for i, v := range w.places[0].saturated {
			saturated[w.pixel+i] = saturated[w.pixel+i] || v
		}
	}
	for _, v := range saturated {
		if v {
			out.SaturatedPixels++
		}
	}
	return out
}
