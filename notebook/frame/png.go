package frame

import (
	"bytes"
	"encoding/binary"
	"image"
	"image/png"
	"io"

	"dieglow/catalog/fault"
)

const (
	pngMagic = "\x89PNG\r\n\x1a\n"
	// deflateRatio is more than Deflate can expand: 258 bytes in 2 bits
	// (RFC 1951, 3.2.5), with room for the headers.
	deflateRatio = 1040
)

// openPNG reads a grey picture of 8 or 16 bits a pixel as counts. The picture
// header stands first in the file (ISO/IEC 15948, 5.6).
func openPNG(in input, o Options) (Info, source, error) {
	var h [33]byte
	if n, _ := in.file.ReadAt(h[:], 0); n < len(h) || string(h[12:16]) != "IHDR" {
		return Info{}, nil, fault.Invalidf("the PNG picture is cut short").WithHint("copy or export the file again")
	}
	be := binary.BigEndian
	width, height := int64(be.Uint32(h[16:])), int64(be.Uint32(h[20:]))
	bits, colour := h[24], h[25]
	if colour != 0 {
		return Info{}, nil, fault.Invalidf("a PNG picture in colour or with transparency, not one number a pixel").
			WithHint("export the numbers, not the picture: %s", readable)
	}
	if bits != 8 && bits != 16 {
		return Info{}, nil, fault.Invalidf("a PNG picture of %d bits a pixel", bits).WithHint("export the counts as a grey PNG of 16 bits")
	}
	if err := checkSize(width, height, o.Limits); err != nil {
		return Info{}, nil, err
	}
	if claimed := width * height * int64(bits/8); claimed/deflateRatio > in.size {
		return Info{}, nil, fault.Invalidf("is cut short: %d x %d pixels cannot be in %d bytes", width, height, in.size).WithHint("copy or export the file again")
	}
	info := Info{Format: PNG, Width: int(width), Height: int(height), Frames: 1, Sample: Uint16, Compression: "Deflate"}
	if bits == 8 {
		info.Sample = Uint8
		info.Notes = append(info.Notes, "8 bits a pixel: most likely a picture made for the eye, whose numbers are grey levels and not what the detector gave")
	}
	info.Saturation = layout{sample: info.Sample}.saturation()
	return info, &pngSource{in: in, bits: int(bits)}, nil
}

type pngSource struct {
	in   input
	bits int
	done bool
}

func (p *pngSource) skip(int) (int, error) {
	if p.done {
		return 0, nil
	}
	p.done = true
	return 1, nil
}

func (p *pngSource) next(f *Frame) error {
	if p.done {
		return errEnd
	}
	p.done = true
	img, err := png.Decode(io.NewSectionReader(p.in.file, 0, p.in.size))
	if err != nil {
		return fault.Invalidf("the PNG picture is damaged").WithHint("copy or export the file again").Because(err)
	}
	f.room()
	switch g := img.(type) {
	case *image.Gray:
		for y := range f.Height {
			for x, v := range g.Pix[y*g.Stride : y*g.Stride+f.Width] {
				f.Pixels[y*f.Width+x] = float64(v)
			}
		}
	case *image.Gray16:
		for y := range f.Height {
			row := bytes.Clone(g.Pix[y*g.Stride : y*g.Stride+2*f.Width])
			if err := (layout{sample: Uint16, bigEndian: true}).decode(f.Pixels[y*f.Width:(y+1)*f.Width], row); err != nil {
				return err
			}
		}
	default:
		return fault.Invalidf("a PNG picture with a transparent grey, not one number a pixel").WithHint("export the counts as a grey PNG of 16 bits")
	}
	return nil
}
