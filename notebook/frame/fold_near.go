package frame

import (
	"encoding/binary"
	"math"
)

// nearSums add frames that lie near the first one, as those of a camera that looks
// at one scene do: less a base of nearBelow under the first frame, every sample is
// below 2 nearBelow, and nearFrames of them fit into 16 bits. Four samples are
// then added as one 64-bit word without taking it apart, which meanSums does for
// each. A frame with a sample that does not fit is taken out again, exactly, and
// left to meanSums: a sample below its base borrows from its neighbour, but shows
// itself in the bits that are to be zero.
type nearSums struct {
	base    []uint64
	sums    []uint64
	pending int   // frames in sums
	frames  []int // by place, in its meanSums since it was emptied
	misses  int
}

const (
	nearBelow  = 1 << 10
	nearOver   = 0xf800f800f800f800 // bits from 2 nearBelow on
	nearFrames = (1<<16 - 1) / (2*nearBelow - 1)
	nearMisses = 16 // batches that did not fit before it is given up
)

// newNearSums takes the base from a frame; nil where samples are stored another way,
// do not fill whole words, or saturation is within reach.
func newNearSums(k kernel, first []byte, places int) *nearSums {
	if k.bigEndian || k.flip != 0 || len(first)%8 != 0 {
		return nil
	}
	n := &nearSums{base: make([]uint64, len(first)/8), sums: make([]uint64, len(first)/8), frames: make([]int, places)}
	for i := range n.base {
		for lane := range 4 {
			v := int(binary.LittleEndian.Uint16(first[8*i+2*lane:]))
			// A base above this could borrow so much that it would not show.
			low := max(0, min(v-nearBelow, math.MaxUint16-2*nearBelow))
			if k.watch && low+2*nearBelow > int(k.full) {
				return nil
			}
			n.base[i] |= uint64(low) << (16 * lane)
		}
	}
	return n
}

// add adds four frames; false where they do not fit, or others have not.
func (n *nearSums) add(buf []byte, bytes int) bool {
	if n == nil || n.misses > nearMisses || n.pending+foldBatch > nearFrames {
		return false
	}
	words := len(n.base) * 8
	a, b, c, d := buf[:words], buf[bytes:][:words], buf[2*bytes:][:words], buf[3*bytes:][:words]
	if n.pass(a, b, c, d)&nearOver != 0 {
		n.undo(a, b, c, d)
		n.misses++
		return false
	}
	n.pending += foldBatch
	return true
}

// pass adds, and returns all differences joined by or.
func (n *nearSums) pass(a, b, c, d []byte) uint64 {
	le := binary.LittleEndian
	var seen uint64
	base, sums := n.base, n.sums
	for len(a) >= meanChunk {
		pa, pb, pc, pd := (*[meanChunk]byte)(a), (*[meanChunk]byte)(b), (*[meanChunk]byte)(c), (*[meanChunk]byte)(d)
		pbase, psums := (*[meanChunk / 8]uint64)(base), (*[meanChunk / 8]uint64)(sums)
		for i := range psums {
			low := pbase[i]
			w, x, y, z := le.Uint64(pa[8*i:8*i+8])-low, le.Uint64(pb[8*i:8*i+8])-low, le.Uint64(pc[8*i:8*i+8])-low, le.Uint64(pd[8*i:8*i+8])-low
			psums[i] += w + x + y + z
			seen |= w | x | y | z
		}
		a, b, c, d = a[meanChunk:], b[meanChunk:], c[meanChunk:], d[meanChunk:]
		base, sums = base[meanChunk/8:], sums[meanChunk/8:]
	}
	for i, low := range base {
		for _, f := range [...][]byte{a, b, c, d} {
			w := le.Uint64(f[8*i:]) - low
			sums[i] += w
			seen |= w
		}
	}
	return seen
}

// undo takes out what pass added.
func (n *nearSums) undo(a, b, c, d []byte) {
	for i, low := range n.base {
		for _, f := range [...][]byte{a, b, c, d} {
			n.sums[i] -= binary.LittleEndian.Uint64(f[8*i:]) - low
		}
	}
}

// moveTo moves the sums to those of a place.
func (n *nearSums) moveTo(m *meanSums, place int) {
	if n == nil || n.pending == 0 {
		return
	}
	even, odd := m.even[:len(n.sums)], m.odd[:len(n.sums)]
	for i, s := range n.sums {
		even[i] += s & evenLanes
		odd[i] += s >> 16 & evenLanes
	}
	clear(n.sums)
	m.pending += n.pending
	n.frames[place] += n.pending
	n.pending = 0
}

// addBase adds what the frames at a place were added less, from a word of the
// frame on.
func (n *nearSums) addBase(values []float64, word, place int) {
	if n == nil || n.frames[place] == 0 {
		return
	}
	frames := float64(n.frames[place])
	for i, base := range n.base[word:][:len(values)/4] {
		v := values[4*i : 4*i+4]
		v[0] += frames * float64(base&0xffff)
		v[1] += frames * float64(base>>16&0xffff)
		v[2] += frames * float64(base>>32&0xffff)
		v[3] += frames * float64(base>>48)
	}
}

// forget begins anew at a place.
func (n *nearSums) forget(place int) {
	if n != nil {
		n.frames[place] = 0
	}
}

// again returns sums of their own over the same base.
func (n *nearSums) again() *nearSums {
	if n == nil {
		return nil
	}
	return &nearSums{base: n.base, sums: make([]uint64, len(n.sums)), frames: make([]int, len(n.frames))}
}
