package frame

import (
	"bufio"
	"bytes"
	"errors"
	"io/fs"
	"os"

	"dieglow/catalog/fault"
)

// readable names the formats that Open takes, for error texts.
const readable = "delimited text (comma, semicolon or tab between the numbers, one row a line)"

// foreign pairs the first bytes of formats that people try with their names.
var foreign = [...]struct{ magic, name string }{
	{"\x93NUMPY", "an NPY array"},
	{"II*\x00", "a TIFF picture"},
	{"MM\x00*", "a TIFF picture"},
	{"II+\x00", "a BigTIFF picture"},
	{"MM\x00+", "a BigTIFF picture"},
	{"SIMPLE  =", "a FITS file"},
	{"\x89PNG", "a PNG picture"},
	{"\xff\xd8\xff", "a JPEG picture"},
	{"\x89HDF", "an HDF5 file"},
	{"MATLAB 5.0", "a MAT file"},
	{"PK\x03\x04", "a zip archive or spreadsheet"},
	{"\x1f\x8b", "a gzip archive"},
	{"%PDF", "a PDF document"},
}

// Open reads the frame file at path, which it recognises by its content.
// Fault NotFound when there is no file, Invalid when it is not a readable
// frame; the message begins with the path.
func Open(path string, limits Limits) (Frame, error) {
	info, err := os.Stat(path)
	if errors.Is(err, fs.ErrNotExist) {
		return Frame{}, fault.NotFoundf("no file %s", path).WithHint("check the path, or list its folder with ls")
	}
	if err != nil {
		return Frame{}, fault.Otherf("frame not opened").Because(err)
	}
	if !info.Mode().IsRegular() {
		return Frame{}, fault.Invalidf("%s is not a regular file", path).WithHint("name one frame file")
	}
	f, err := os.Open(path)
	if err != nil {
		return Frame{}, fault.Otherf("frame not opened").Because(err)
	}
	defer f.Close()

	r := bufio.NewReaderSize(f, 64<<10)
	head, _ := r.Peek(16) // an error comes back with the first read
	for _, k := range foreign {
		if bytes.HasPrefix(head, []byte(k.magic)) {
			return Frame{}, fault.Invalidf("%s is %s", path, k.name).WithHint("export the frame as %s", readable)
		}
	}
	frame, err := readText(r, info.Size(), limits)
	var bad *fault.Error
	if errors.As(err, &bad) {
		named := *bad
		named.Msg = path + ": " + bad.Msg
		return Frame{}, &named
	}
	return frame, err
}
