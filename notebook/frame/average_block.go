package frame

import (
	"encoding/binary"
	"math"
	"sync"
	"sync/atomic"

	"dieglow/catalog/fault"
)

// Mean images of 16-bit integers, summed exactly. Four samples are loaded as
// one 64-bit word w and added in two words of two 32-bit sums each, so that one
// addition serves two pixels:
//
//	even += w & 0x0000ffff0000ffff
//	odd  += w>>16 & 0x0000ffff0000ffff
const (
	meanWorkers = 2
	meanBatch   = 8       // frames added before the sums are touched again
	meanBytes   = 8 << 20 // most that a batch takes, or one frame
	meanFlush   = 1 << 16 // frames whose sum fits in 32 bits: 2^16 (2^16 - 1) < 2^32
	evenLanes   = 0x0000ffff0000ffff
	signs       = 0x8000800080008000
	lowestBits  = 0x0001000100010001
)

// kernel is how 16-bit samples are added.
type kernel struct {
	bigEndian bool
	flip      uint64  // exclusive or that turns signed samples into unsigned ones
	bias      float64 // to be taken from the mean of those
	zero      float64
	full      uint16 // a sample from which it is saturated, after flip
	watch     bool   // saturation is to be counted
}

// kernel returns the kernel for a source, false when it has none.
func (s *Stack) kernel(b *block) (kernel, bool) {
	l := b.layout
	if l.sample != Uint16 && l.sample != Int16 || l.hasBlank || b.transposed {
		return kernel{}, false
	}
	k := kernel{bigEndian: l.bigEndian}
	if l.sample == Int16 {
		k.flip, k.bias = signs, 1<<15
	}
	scale := 1.0
	if l.scaled {
		scale, k.zero = l.scale, l.zero
	}
	// Other scales go the general way, where every pixel is rounded as it is read.
	if scale != 1 || k.zero != math.Trunc(k.zero) || math.Abs(k.zero) > 1<<20 {
		return kernel{}, false
	}
	if s.info.Saturation != nil {
		full := math.Ceil(*s.info.Saturation - k.zero + k.bias)
		k.watch = full <= math.MaxUint16
		k.full = uint16(max(0, min(full, math.MaxUint16)))
	}
	return k, true
}

func (k kernel) value(unsigned float64) float64 { return k.zero + (unsigned - k.bias) }

// meanSums is what one worker has added.
type meanSums struct {
	even, odd []uint64 // two 32-bit sums a word
	tail      []uint32 // the up to three samples after the last whole word
	pending   int      // frames in the sums above
	total     []uint64 // by pixel
	saturated []bool
	samples   int // saturated
}

func newMeanSums(pixels int) *meanSums {
	return &meanSums{
		even: make([]uint64, pixels/4), odd: make([]uint64, pixels/4), tail: make([]uint32, pixels%4),
		total: make([]uint64, pixels), saturated: make([]bool, pixels),
	}
}

// averageBlock adds the frames that are left, batch by batch.
func (s *Stack) averageBlock(b *block, k kernel) (Average, error) {
	first, frames, pixels := b.at, b.frames-b.at, s.info.Width*s.info.Height
	if frames == 0 {
		return Average{}, s.noFrames()
	}
	var next atomic.Int64
	var group sync.WaitGroup
	batch := max(1, min(meanBatch, meanBytes/(2*pixels)))
	sums := make([]*meanSums, min(meanWorkers, (frames+batch-1)/batch))
	errs := make([]error, len(sums))
	for w := range sums {
		group.Go(func() {
			m := newMeanSums(pixels)
			sums[w] = m
			buf := make([]byte, batch*2*pixels)
			for {
				at := int(next.Add(int64(batch))) - batch
				if at >= frames {
					m.flush(k)
					return
				}
				n := min(batch, frames-at)
				if errs[w] = m.read(b, first+at, buf[:n*2*pixels]); errs[w] != nil {
					return
				}
				m.add(k, buf, n, pixels)
			}
		})
	}
	group.Wait()
	b.at, s.index = b.frames, s.info.Frames
	for _, err := range errs {
		if err != nil {
			s.err = named(s.path, err)
			return Average{}, s.err
		}
	}
	return s.joined(sums, k, frames), nil
}

func (m *meanSums) read(b *block, at int, buf []byte) error {
	frameBytes := int64(len(m.total) * 2)
	if _, err := b.file.ReadAt(buf, b.offset+int64(at)*frameBytes); err != nil {
		return fault.Otherf("frames from %d on not read", at).Because(err)
	}
	return nil
}

// joined adds what the workers have.
func (s *Stack) joined(sums []*meanSums, k kernel, frames int) Average {
	a := Average{Frames: frames, Mean: Frame{Width: s.info.Width, Height: s.info.Height}}
	a.Mean.Pixels = make([]float64, s.info.Width*s.info.Height)
	for i := range a.Mean.Pixels {
		total, saturated := uint64(0), false
		for _, m := range sums {
			total += m.total[i]
			saturated = saturated || m.saturated[i]
		}
		a.Mean.Pixels[i] = k.value(float64(total) / float64(frames))
		if saturated {
			a.Mean.SaturatedCount++
		}
	}
	for _, m := range sums {
		a.SaturatedSamples += m.samples
	}
	return a
}

// add adds n frames.
func (m *meanSums) add(k kernel, buf []byte, n, pixels int) {
	if m.pending+n > meanFlush {
		m.flush(k)
	}
	m.pending += n
	frameBytes := 2 * pixels
	words := pixels / 4 * 8
	var high uint64
	i := 0
	if k.flip == 0 && !k.bigEndian {
		for ; i+4 <= n; i += 4 {
			high |= m.addFour(buf[i*frameBytes:][:words], buf[(i+1)*frameBytes:][:words], buf[(i+2)*frameBytes:][:words], buf[(i+3)*frameBytes:][:words])
		}
	}
	for ; i < n; i++ {
		high |= m.addOne(k, buf[i*frameBytes:][:words])
	}
	for i := range n {
		for t := range m.tail {
			v := k.sample(buf[i*frameBytes+words+2*t:])
			m.tail[t] += uint32(v)
			high |= uint64(v)
		}
	}
	// Without a sample of 2^15 or more none can be at 2^16 - 1.
	if k.watch && (high&signs != 0 || k.full < 1<<15) && (k.full != math.MaxUint16 || k.peak(buf[:n*frameBytes])) {
		m.countSaturated(k, buf[:n*frameBytes])
	}
}

// sample reads one sample as an unsigned one.
func (k kernel) sample(b []byte) uint16 {
	if k.bigEndian {
		return binary.BigEndian.Uint16(b) ^ uint16(k.flip)
	}
	return binary.LittleEndian.Uint16(b) ^ uint16(k.flip)
}

// peak says whether a sample may be at its highest: then a lane x of the
// complement is 0, and (x - 1) & ^x has its sign bit (H. S. Warren, Hacker's
// Delight, 2nd ed., 2012, section 6-1). A borrow from such a lane may add
// another, never hide one; the byte order does not matter to 0xffff.
func (k kernel) peak(buf []byte) bool {
	var peak uint64
	for ; len(buf) >= 8; buf = buf[8:] {
		w := k.word(buf)
		peak |= (^w - lowestBits) & w
	}
	for ; len(buf) >= 2; buf = buf[2:] {
		if k.sample(buf) == math.MaxUint16 {
			return true
		}
	}
	return peak&signs != 0
}

// word reads four samples as unsigned ones. The lanes of a big endian word come
// in the opposite order, which flush turns back.
func (k kernel) word(b []byte) uint64 {
	if k.bigEndian {
		return binary.BigEndian.Uint64(b) ^ k.flip
	}
	return binary.LittleEndian.Uint64(b) ^ k.flip
}

// meanChunk is how many bytes the inner loop of addFour takes, so that the
// bounds of its slices are checked once a chunk.
const meanChunk = 64

// addFour adds four frames of little endian unsigned samples and returns all of
// them joined by or.
func (m *meanSums) addFour(a, b, c, d []byte) uint64 {
	le := binary.LittleEndian
	var high uint64
	even, odd := m.even, m.odd
	for len(a) >= meanChunk {
		pa, pb, pc, pd := (*[meanChunk]byte)(a), (*[meanChunk]byte)(b), (*[meanChunk]byte)(c), (*[meanChunk]byte)(d)
		pe, po := (*[meanChunk / 8]uint64)(even), (*[meanChunk / 8]uint64)(odd)
		for i := range pe {
			w, x, y, z := le.Uint64(pa[8*i:8*i+8]), le.Uint64(pb[8*i:8*i+8]), le.Uint64(pc[8*i:8*i+8]), le.Uint64(pd[8*i:8*i+8])
			pe[i] += w&evenLanes + x&evenLanes + y&evenLanes + z&evenLanes
			po[i] += w>>16&evenLanes + x>>16&evenLanes + y>>16&evenLanes + z>>16&evenLanes
			high |= w | x | y | z
		}
		a, b, c, d = a[meanChunk:], b[meanChunk:], c[meanChunk:], d[meanChunk:]
		even, odd = even[meanChunk/8:], odd[meanChunk/8:]
	}
	for i := range even {
		for _, f := range [...][]byte{a, b, c, d} {
			w := le.Uint64(f[8*i:])
			even[i] += w & evenLanes
			odd[i] += w >> 16 & evenLanes
			high |= w
		}
	}
	return high
}

// addOne adds one frame of any kind and returns its samples joined by or.
func (m *meanSums) addOne(k kernel, a []byte) uint64 {
	var high uint64
	even, odd := m.even, m.odd[:len(m.even)]
	for i := range even {
		w := k.word(a[8*i:])
		even[i] += w & evenLanes
		odd[i] += w >> 16 & evenLanes
		high |= w
	}
	return high
}

// countSaturated counts one sample at a time; few stacks come here.
func (m *meanSums) countSaturated(k kernel, buf []byte) {
	pixels := len(m.total)
	for i := 0; len(buf) >= 2; i, buf = i+1, buf[2:] {
		if k.sample(buf) >= k.full {
			m.samples++
			m.saturated[i%pixels] = true
		}
	}
}

// flush moves the 32-bit sums into the 64-bit ones.
func (m *meanSums) flush(k kernel) {
	for i := range m.even {
		e, o := m.even[i], m.odd[i]
		lanes := [4]uint64{e & math.MaxUint32, o & math.MaxUint32, e >> 32, o >> 32}
		for j, v := range lanes {
			if k.bigEndian {
				j = 3 - j
			}
			m.total[4*i+j] += v
		}
		m.even[i], m.odd[i] = 0, 0
	}
	for t, v := range m.tail {
		m.total[len(m.even)*4+t] += uint64(v)
		m.tail[t] = 0
	}
	m.pending = 0
}
