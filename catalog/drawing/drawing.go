// Package drawing makes pictures of stacks of lenses and of what they are
// predicted to do: the stack and its holder to scale, modulation, spots, ray
// fans, and the front of a choice. The same picture comes out as SVG or PNG, and
// the same input gives the same bytes.
//
// An SVG carries its size in millimetres and counts them, one a unit, so that it
// prints to scale at 100 %; a PNG carries its resolution for the same end.
package drawing

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"unicode"

	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/vgimg"
	"gonum.org/v1/plot/vg/vgsvg"

	"dieglow/catalog/fault"
)

// A4 across, the size of every sheet.
const (
	sheetWidthMM  = 297.0
	sheetHeightMM = 210.0
)

// pngDPI makes text of the smallest size used readable on a screen.
const pngDPI = 160

// Drawing is a picture that can be had as SVG or PNG.
type Drawing struct {
	title string
	paint func(pen) // draws onto an empty sheet
}

// SVG returns the picture as an SVG document. Fault Other when it cannot be made.
func (d Drawing) SVG() ([]byte, error) {
	c := vgsvg.New(mm(sheetWidthMM), mm(sheetHeightMM))
	d.paint(newPen(draw.New(c)))
	var b bytes.Buffer
	if _, err := c.WriteTo(&b); err != nil {
		return nil, fault.Otherf("the drawing cannot be made").Because(err)
	}
	// The library's own head states points and names its maker.
	_, body, found := strings.Cut(b.String(), "<svg")
	_, body, open := strings.Cut(body, ">")
	body, closed := strings.CutSuffix(strings.TrimSpace(body), "</svg>")
	if !found || !open || !closed {
		return nil, fault.Otherf("the drawing cannot be made: its document has no head or no end")
	}
	// The attribute's quotation marks are escaped in texts, so no text is touched.
	body = strings.ReplaceAll(body, `style="font-family:Liberation Sans;`, `style="font-family:Liberation Sans,Arial,Helvetica,sans-serif;`)
	width, height := number(sheetWidthMM), number(sheetHeightMM)
	var out bytes.Buffer
	fmt.Fprintf(&out, `<?xml version="1.0" encoding="UTF-8"?>
<svg xmlns="http://www.w3.org/2000/svg" width="%smm" height="%smm" viewBox="0 0 %s %s">
<title>%s</title>
<rect width="%s" height="%s" fill="#ffffff"/>
<g transform="scale(%s)">
%s
</g>
</svg>
`, width, height, width, height, escape(d.title), width, height, strconv.FormatFloat(25.4/72, 'f', 10, 64), strings.TrimSpace(body))
	return out.Bytes(), nil
}

// PNG returns the picture as a PNG file. Fault Other when it cannot be made.
func (d Drawing) PNG() ([]byte, error) {
	c := vgimg.NewWith(vgimg.UseWH(mm(sheetWidthMM), mm(sheetHeightMM)), vgimg.UseDPI(pngDPI))
	d.paint(newPen(draw.New(c)))
	var b bytes.Buffer
	if _, err := (vgimg.PngCanvas{Canvas: c}).WriteTo(&b); err != nil {
		return nil, fault.Otherf("the drawing cannot be made").Because(err)
	}
	return withResolution(b.Bytes()), nil
}

// withResolution puts the pHYs chunk behind the header of a PNG file, 33 bytes
// of signature and IHDR (W3C PNG specification, 11.3.4.3).
func withResolution(png []byte) []byte {
	const head = 33
	const perMetre = (pngDPI*10000 + 127) / 254
	chunk := []byte("pHYs")
	chunk = binary.BigEndian.AppendUint32(chunk, perMetre)
	chunk = binary.BigEndian.AppendUint32(chunk, perMetre)
	chunk = append(chunk, 1) // the unit is the metre
	out := append([]byte{}, png[:head]...)
	out = binary.BigEndian.AppendUint32(out, uint32(len(chunk)-4))
	out = append(out, chunk...)
	out = binary.BigEndian.AppendUint32(out, crc32.ChecksumIEEE(chunk))
	return append(out, png[head:]...)
}

// CheckName reports whether a file's ending is one a drawing can be written as.
// Fault Invalid, naming both endings.
func CheckName(path string) error {
	switch strings.ToLower(filepath.Ext(path)) {
	case ".svg", ".png":
		return nil
	}
	return fault.Invalidf("%s ends in neither .svg nor .png", clean(path)).WithHint("name a file such as stack.svg, which prints to scale, or stack.png")
}

// Encode returns the picture as the ending of a file's name says. Faults as
// CheckName, SVG and PNG.
func (d Drawing) Encode(path string) ([]byte, error) {
	if err := CheckName(path); err != nil {
		return nil, err
	}
	if strings.EqualFold(filepath.Ext(path), ".svg") {
		return d.SVG()
	}
	return d.PNG()
}

// WriteFile writes the picture to a new file, SVG or PNG by its ending, and
// leaves none behind when it cannot. Faults as Encode; Conflict when the file is
// there already; Other when it cannot be written.
func (d Drawing) WriteFile(path string) error {
	data, err := d.Encode(path)
	if err != nil {
		return err
	}
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if errors.Is(err, fs.ErrExist) {
		return fault.Conflictf("%s is there already", clean(path)).WithHint("name another file, or remove that one")
	}
	if err == nil {
		_, err = f.Write(data)
		if cerr := f.Close(); err == nil {
			err = cerr
		}
		if err != nil {
			os.Remove(path)
		}
	}
	if err != nil {
		return fault.Otherf("cannot write %s", clean(path)).Because(err).WithHint("name a file in a folder that is there and can be written")
	}
	return nil
}

func mm(v float64) vg.Length { return vg.Length(v) * vg.Millimeter }

// number prints a coordinate or size.
func number(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

// clean makes a text from a record fit for one line of a drawing: what cannot be
// seen, or would change the order of what can, is left out, since XML forbids
// most of it.
func clean(s string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case r == '\n' || r == '\t':
			return ' '
		case r == unicode.ReplacementChar || !unicode.IsGraphic(r):
			return -1
		}
		return r
	}, s)
}

func escape(s string) string {
	return strings.NewReplacer("&", "&amp;", "<", "&lt;", ">", "&gt;", `"`, "&quot;").Replace(clean(s))
}
