package cli

import (
	"errors"
	"io"
	"path/filepath"

	"dieglow/catalog"
	"dieglow/catalog/fault"
	"dieglow/catalog/quantity"
	"dieglow/notebook"
	"dieglow/notebook/frame"
	"dieglow/notebook/journal"
	"dieglow/store"
)

// captureDesk turns what a person gave into captures. It reads each record that
// captures refer to once, so that a table of many captures costs little more
// than writing them.
type captureDesk struct {
	tx  *store.Tx
	who string
	dir string // where relative file names start, "" for the working directory

	projects    map[string]notebook.Record[notebook.Project]
	specimens   map[string]notebook.Record[notebook.Specimen]
	artefacts   map[string]notebook.Record[catalog.Artefact]
	setups      map[string]notebook.Record[catalog.Setup]
	cameras     map[string]notebook.Record[catalog.Camera]
	instruments map[string]notebook.Record[catalog.Instrument]
	states      map[string]string
	unfit       map[string][]string // warnings about the parts of a setup
}

func newCaptureDesk(tx *store.Tx, who string) *captureDesk {
	return &captureDesk{
		tx: tx, who: who,
		projects: map[string]notebook.Record[notebook.Project]{}, specimens: map[string]notebook.Record[notebook.Specimen]{},
		artefacts: map[string]notebook.Record[catalog.Artefact]{}, setups: map[string]notebook.Record[catalog.Setup]{},
		cameras: map[string]notebook.Record[catalog.Camera]{}, instruments: map[string]notebook.Record[catalog.Instrument]{},
		states: map[string]string{}, unfit: map[string][]string{},
	}
}

// once returns what is known under key, and loads it the first time.
func once[T any](known map[string]T, key string, load func() (T, error)) (T, error) {
	if v, ok := known[key]; ok {
		return v, nil
	}
	v, err := load()
	if err == nil {
		known[key] = v
	}
	return v, err
}

// named returns the record a person named.
func named[T store.Body](d *captureDesk, known map[string]notebook.Record[T], name string) (notebook.Record[T], error) {
	return once(known, name, func() (notebook.Record[T], error) { return store.Get[T](d.tx, name) })
}

// referred returns the revision a record refers to.
func referred[T store.Body](d *captureDesk, known map[string]notebook.Record[T], ref catalog.Ref) (notebook.Record[T], error) {
	return once(known, ref.String(), func() (notebook.Record[T], error) { return store.GetRef[T](d.tx, ref) })
}

// read makes a capture of the values given, and stores its files when all of
// them are in order.
func (d *captureDesk) read(in *input) (notebook.Capture, store.Placement, error) {
	c := notebook.Capture{Purpose: notebook.Measurement, Operator: d.who}
	at, err := d.subject(in, &c)
	if err != nil {
		return c, at, err
	}
	if err := captureConditions(in, &c); err != nil {
		return c, at, err
	}
	var names []string
	in.list("instrument", &names)
	for _, name := range names {
		i, err := named(d, d.instruments, name)
		if err != nil {
			return c, at, err
		}
		c.Instruments = append(c.Instruments, i.Ref)
	}
	at.Files, err = d.files(in, &c)
	return c, at, err
}

// subject settles what is shown, with which setup, and in which project.
func (d *captureDesk) subject(in *input, c *notebook.Capture) (at store.Placement, err error) {
	in.text("purpose", &c.Purpose)
	if name, ok := in.given("project"); ok {
		p, err := named(d, d.projects, name)
		if err != nil {
			return at, err
		}
		at.Project = p.ID
	}
	if name, ok := in.given("specimen"); ok {
		s, err := named(d, d.specimens, name)
		if err != nil {
			return at, err
		}
		if at.Project != "" && at.Project != s.Scope {
			return at, fault.Conflictf("%s belongs to another project", s.Label()).WithHint("leave the project out: a capture belongs to its specimen's project")
		}
		c.Specimen, at.Project = &s.Ref, s.Scope
	}
	if name, ok := in.given("on"); ok {
		a, err := named(d, d.artefacts, name)
		if err != nil {
			return at, err
		}
		c.Artefact = &a.Ref
	}
	name, ok := in.given("setup")
	if !ok {
		return at, fault.Invalidf("a capture needs its setup").WithHint("give --setup NAME; dieglow setup list shows the setups")
	}
	s, err := named(d, d.setups, name)
	c.Setup = s.Ref
	return at, err
}

// files reads the frames, checks them against the camera, and only then stores
// them and the attachments.
func (d *captureDesk) files(in *input, c *notebook.Capture) ([]journal.File, error) {
	var frames, attached []string
	in.list("file", &frames)
	in.list("attach", &attached)
	unit, unitGiven := in.given("unit")
	switch {
	case in.err != nil:
		return nil, in.err
	case len(frames) > 0 && !unitGiven:
		return nil, fault.Invalidf("what the numbers of a frame mean is not said").WithHint("give --unit degC, --unit K or --unit counts")
	case len(frames) == 0 && unitGiven:
		return nil, fault.Invalidf("a unit is given, but no frame").WithHint("give the frame with --file, or leave --unit out")
	}
	paths := append(append([]string{}, frames...), attached...)
	for i, path := range paths {
		if d.dir != "" && !filepath.IsAbs(path) {
			paths[i] = filepath.Join(d.dir, path)
		}
	}
	for _, path := range paths[:len(frames)] {
		f, err := d.frame(path, unit, c.Setup)
		if err != nil {
			return nil, err
		}
		c.Frames = append(c.Frames, f)
	}
	for _, path := range paths[len(frames):] {
		c.Attachments = append(c.Attachments, notebook.Attachment{Name: filepath.Base(path)})
	}
	if err := c.Validate(); err != nil {
		return nil, err
	}
	var kept []journal.File
	for i, path := range paths {
		file, err := d.tx.Keep(path)
		if err != nil {
			return nil, err
		}
		kept = append(kept, file)
		if i < len(frames) {
			c.Frames[i].SHA256, c.Frames[i].Size = file.SHA256, file.Size
		} else {
			c.Attachments[i-len(frames)].SHA256, c.Attachments[i-len(frames)].Size = file.SHA256, file.Size
		}
	}
	return kept, nil
}

// frame reads a frame and checks that it has the size of the setup's camera.
func (d *captureDesk) frame(path, unitText string, setup catalog.Ref) (notebook.FrameFile, error) {
	unit, err := frame.ParseUnit(unitText)
	if err != nil {
		return notebook.FrameFile{}, err
	}
	s, err := referred(d, d.setups, setup)
	if err != nil {
		return notebook.FrameFile{}, err
	}
	cam, err := referred(d, d.cameras, s.Body.Camera)
	if err != nil {
		return notebook.FrameFile{}, err
	}
	f, err := surveyFrames(path, unit)
	if err != nil {
		return f, err
	}
	f.Name, f.Unit = filepath.Base(path), unit.String()
	x, y := cam.Body.PixelsX, cam.Body.PixelsY
	if f.Width == x && f.Height == y {
		return f, nil
	}
	e := fault.Conflictf("%s has %d x %d pixels, and the camera %s has %d x %d", path, f.Width, f.Height, cam.Label(), x, y)
	if f.Width == y && f.Height == x {
		return f, e.WithHint("the frame stands on its side: export it with %d columns and %d rows", x, y)
	}
	return f, e.WithHint("name the setup with the camera that took it, or keep the file with --attach")
}

// surveyFrames reads every frame of a file, one at a time, and sums them up.
// Fault Conflict when the file states another unit.
func surveyFrames(path string, unit frame.Unit) (notebook.FrameFile, error) {
	s, err := frame.OpenStack(path, frame.Options{})
	if err != nil {
		return notebook.FrameFile{}, err
	}
	defer s.Close()
	info := s.Info()
	if said := fileUnit(info); said != frame.Unstated && said != unit {
		return notebook.FrameFile{}, otherUnit(said, unit.String())
	}
	out := notebook.FrameFile{Width: info.Width, Height: info.Height, Format: string(info.Format)}
	var buffer []float64
	for {
		f, err := s.Next(buffer)
		if errors.Is(err, io.EOF) {
			return out, nil
		}
		if err != nil {
			return out, err
		}
		buffer = f.Pixels
		out.Take(f.Stats())
	}
}

// oddities says what looks like a slip: temperatures no bench has, a distance far
// from where the setup is sharp, a certificate out of date.
func (d *captureDesk) oddities(c notebook.Capture) (out []string, err error) {
	for _, f := range c.Frames {
		if k, ok := f.MaxK(); ok && (k < 200 || k > 2000) {
			out = append(out, "the highest value of "+f.Name+" is "+quantity.Shown(k, 4, quantity.Kelvin)+": is the unit "+f.Unit+"?")
		}
	}
	s, err := referred(d, d.setups, c.Setup)
	if err != nil {
		return nil, err
	}
	if want := s.Body.Figures.WorkingDistanceMM; c.DistanceMM != nil && (c.DistanceMM.Value > 1.3*want || c.DistanceMM.Value < 0.7*want) {
		out = append(out, "the distance "+c.DistanceMM.Format(quantity.Millimetre)+" is far from the predicted working distance, "+quantity.Fixed(want, 3)+" mm")
	}
	if c.Artefact == nil {
		return out, nil
	}
	a, err := referred(d, d.artefacts, *c.Artefact)
	if err == nil && a.Body.DueOn != "" && c.On != "" && c.On.Day() > a.Body.DueOn.Day() {
		out = append(out, "the certificate of "+a.Label()+" was overdue")
	}
	return out, err
}

// warnings says what a careful colleague would say on reading the capture.
func (d *captureDesk) warnings(c notebook.Capture) ([]string, error) {
	var out []string
	if c.Specimen != nil {
		s, err := referred(d, d.specimens, *c.Specimen)
		if err != nil {
			return nil, err
		}
		if limit := s.Body.Limits.PowerW; limit != nil && c.PowerW != nil && c.PowerW.Value > *limit {
			out = append(out, "the power "+c.PowerW.Format(quantity.Watt)+" lies above the limit on record, "+quantity.Fixed(*limit, 6)+" W ("+s.Body.Limits.Source+")")
		}
		state, err := once(d.states, s.ID, func() (string, error) { return d.tx.SpecimenState(s.ID) })
		if err != nil {
			return nil, err
		}
		if state != store.Held {
			out = append(out, s.Label()+" is "+state)
		}
	}
	for _, ref := range c.Instruments {
		i, err := referred(d, d.instruments, ref)
		if err != nil {
			return nil, err
		}
		day := c.On
		if day == "" {
			day = today(d.tx.Now())
		}
		if _, found, valid := i.Body.CalibrationOn(day); !found {
			out = append(out, i.Label()+" has no calibration on record for that day")
		} else if !valid {
			out = append(out, "the calibration of "+i.Label()+" was overdue")
		}
	}
	odd, err := d.oddities(c)
	if err != nil {
		return nil, err
	}
	out = append(out, odd...)
	parts, err := once(d.unfit, c.Setup.String(), func() ([]string, error) {
		s, err := referred(d, d.setups, c.Setup)
		if err != nil {
			return nil, err
		}
		parts, err := setupParts(d.tx, s.Body)
		if err != nil {
			return nil, err
		}
		return s.Body.PartWarnings(parts), nil
	})
	return append(out, parts...), err
}
