package cli

import (
	"bytes"
	"image"
	"image/png"
	"os"
	"path/filepath"

	"dieglow/catalog"
	"dieglow/catalog/fault"
	"dieglow/notebook"
	"dieglow/notebook/frame"
	"dieglow/notebook/frame/picture"
	"dieglow/notebook/journal"
	"dieglow/notebook/temperature"
	"dieglow/store"
)

// derivedFile is a map or a picture made from a frame.
type derivedFile struct {
	name string
	data []byte
}

// derive makes the map of object temperatures and a picture of it beside the frame.
func (m *measurement) derive(f frame.Frame, r temperature.Reading) ([]derivedFile, error) {
	setup, err := store.GetRef[catalog.Setup](m.tx, m.capture.Body.Setup)
	if err != nil {
		return nil, err
	}
	if f.Unit, err = frame.ParseUnit(m.settings.Unit); err != nil {
		return nil, err
	}
	scale := subject{}
	if err := scale.pixelOf(m.tx, setup); err != nil {
		return nil, err
	}
	note := " (scale " + scale.how + ")"
	options := picture.Options{ObjectPixelUM: scale.pixel.Value, Title: m.capture.Handle + ", apparent temperature" + note}
	left, err := picture.Render(f, options)
	if err != nil {
		return nil, err
	}
	if r.Object == nil {
		return encodePNG("apparent.png", picture.Beside(left))
	}
	options.Title = m.capture.Handle + ", object temperature" + note
	right, err := picture.Render(*r.Object, options)
	if err != nil {
		return nil, err
	}
	npy, err := encodeNPY(*r.Object)
	if err != nil {
		return nil, err
	}
	pictures, err := encodePNG("apparent-and-object.png", picture.Beside(left, right))
	return append([]derivedFile{{"object-temperature.npy", npy}}, pictures...), err
}

func encodePNG(name string, img image.Image) ([]derivedFile, error) {
	var b bytes.Buffer
	err := png.Encode(&b, img)
	return []derivedFile{{name, b.Bytes()}}, err
}

// encodeNPY returns a frame as a NumPy file.
func encodeNPY(f frame.Frame) ([]byte, error) {
	dir, err := os.MkdirTemp("", "dieglow-")
	if err != nil {
		return nil, fault.Otherf("cannot make a temporary folder").Because(err)
	}
	defer os.RemoveAll(dir)
	path := filepath.Join(dir, "map.npy")
	w, err := frame.Create(path, frame.Output{Unit: f.Unit})
	if err != nil {
		return nil, err
	}
	defer w.Close()
	if err := w.Write(f); err != nil {
		return nil, err
	}
	if err := w.Commit(); err != nil {
		return nil, err
	}
	return os.ReadFile(path)
}

// keep stores derived files for a finding of this transaction.
func (m *measurement) keep(f *notebook.Finding, files []derivedFile) ([]journal.File, error) {
	dir, err := os.MkdirTemp("", "dieglow-")
	if err != nil {
		return nil, fault.Otherf("cannot make a temporary folder").Because(err)
	}
	defer os.RemoveAll(dir)
	var kept []journal.File
	for _, d := range files {
		path := filepath.Join(dir, d.name)
		if err := os.WriteFile(path, d.data, 0o600); err != nil {
			return nil, fault.Otherf("cannot write a derived file").Because(err)
		}
		file, err := m.tx.Keep(path)
		if err != nil {
			return nil, err
		}
		kept = append(kept, file)
		f.Derived = append(f.Derived, notebook.Attachment{Name: d.name, SHA256: file.SHA256, Size: file.Size})
	}
	return kept, nil
}
