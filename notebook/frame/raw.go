package frame

import (
	"strings"

	"dieglow/catalog/fault"
)

// RawSamples is how a file without a header stores its pixels.
type RawSamples struct {
	Sample    Sample // Uint16 or Float32
	BigEndian bool
	assumed   bool // the byte order was not stated
}

// ParseRaw reads u16le, u16be, f32le or f32be, in upper or lower case; without
// le or be the samples are little endian, and Info.Notes says that this was
// assumed. Fault Invalid for anything else.
func ParseRaw(s string) (RawSamples, error) {
	name := strings.ToLower(strings.TrimSpace(s))
	r := RawSamples{assumed: true}
	switch {
	case strings.HasSuffix(name, "be"):
		r.BigEndian, r.assumed = true, false
	case strings.HasSuffix(name, "le"):
		r.assumed = false
	}
	if !r.assumed {
		name = name[:len(name)-2]
	}
	switch name {
	case "u16":
		r.Sample = Uint16
	case "f32":
		r.Sample = Float32
	default:
		return RawSamples{}, fault.Invalidf("%q does not say how raw samples are stored", s).WithHint("one of u16le, u16be, f32le or f32be")
	}
	return r, nil
}

// openRaw takes the whole file as frames of the stated size.
func openRaw(in input, o Options) (Info, source, error) {
	if o.Raw.Sample != Uint16 && o.Raw.Sample != Float32 {
		return Info{}, nil, fault.Invalidf("raw samples of type %s are not read", o.Raw.Sample).WithHint("one of u16le, u16be, f32le or f32be")
	}
	if o.Width <= 0 || o.Height <= 0 {
		return Info{}, nil, fault.Invalidf("a raw file does not say its size").WithHint("state the columns and rows of its frames, such as --size 256x192")
	}
	if err := checkSize(int64(o.Width), int64(o.Height), o.Limits); err != nil {
		return Info{}, nil, err
	}
	l := layout{sample: o.Raw.Sample, bigEndian: o.Raw.BigEndian}
	frameBytes := int64(o.Width) * int64(o.Height) * int64(l.sample.Bytes())
	frames := in.size / frameBytes
	if frames == 0 || in.size%frameBytes != 0 {
		return Info{}, nil, fault.Invalidf("its %d bytes are not a whole number of frames of %d x %d %s pixels, %d bytes each", in.size, o.Width, o.Height, l.sample, frameBytes).
			WithHint("state another size or another sample; a file with a header of its own is not raw")
	}
	info := Info{
		Format: Raw, Width: o.Width, Height: o.Height, Frames: int(frames),
		Sample: l.sample, ByteOrder: l.orderName(), Compression: "none", Saturation: l.saturation(),
	}
	if o.Raw.assumed {
		info.Notes = append(info.Notes, "the byte order was not stated and was taken as little endian")
	}
	return info, &block{file: in.file, frames: int(frames), layout: l}, nil
}
