package notebook

import (
	"math"
	"slices"
	"strings"

	"dieglow/catalog"
	"dieglow/catalog/fault"
	"dieglow/catalog/quantity"
	"dieglow/notebook/frame"
)

// The purposes of a capture.
const (
	Measurement = "measurement"
	Reference   = "reference" // unpowered, to be subtracted
	Check       = "check"     // of the setup, on an artefact
	WarmUp      = "warm-up"   // a series from power-up
)

// Purposes returns the purposes of a capture.
func Purposes() []string { return []string{Measurement, Reference, Check, WarmUp} }

// CheckPurpose reports whether p is a purpose of a capture. Fault Invalid otherwise.
func CheckPurpose(p string) error {
	if slices.Contains(Purposes(), p) {
		return nil
	}
	return fault.Invalidf("%q is not a purpose of a capture", p).WithHint("use --purpose %s", strings.Join(Purposes(), ", "))
}

// The ways an emissivity is known.
const (
	Measured  = "measured"
	FromTable = "table"
	Assumed   = "assumed"
)

// Capture is one act of imaging under stated conditions. A nil or empty
// condition was not recorded; it is never filled in.
type Capture struct {
	Purpose  string       `json:"purpose"`
	Specimen *catalog.Ref `json:"specimen"` // nil for a check
	Artefact *catalog.Ref `json:"artefact"` // only for a check
	Setup    catalog.Ref  `json:"setup"`

	PowerW         *quantity.Estimate `json:"power_w"`
	VoltageV       *quantity.Estimate `json:"voltage_v"` // with the current, what the power was computed from
	CurrentA       *quantity.Estimate `json:"current_a"`
	AmbientK       *quantity.Estimate `json:"ambient_k"`
	ReflectedK     *quantity.Estimate `json:"reflected_k"`
	Emissivity     *quantity.Estimate `json:"emissivity"`
	EmissivityFrom string             `json:"emissivity_from"`   // measured, table or assumed
	EmissivityNote string             `json:"emissivity_source"` // which table, which method
	SincePowerS    *quantity.Estimate `json:"since_power_s"`     // time since power-up
	DistanceMM     *quantity.Estimate `json:"distance_mm"`       // first lens to specimen
	FocusMethod    string             `json:"focus_method"`
	FramesAveraged *int               `json:"frames_averaged"`
	Operator       string             `json:"operator"`
	On             catalog.When       `json:"on"`

	Instruments []catalog.Ref `json:"instruments"`
	Frames      []FrameFile   `json:"frames"`
	Attachments []Attachment  `json:"attachments"`
	Deviations  []string      `json:"deviations"`
	Notes       string        `json:"notes"`
}

// FrameFile is a raw file of one or more frames with what its numbers mean. The
// statistics are those of the numbers as they stand in the file, over all frames.
type FrameFile struct {
	Name    string  `json:"name"` // as it was called when recorded
	SHA256  string  `json:"sha256"`
	Size    int64   `json:"size"` // bytes
	Unit    string  `json:"unit"` // degC, K or counts
	Width   int     `json:"width"`
	Height  int     `json:"height"`
	Min     float64 `json:"min"`
	Max     float64 `json:"max"`
	Mean    float64 `json:"mean"`
	MaxX    int     `json:"max_x"` // column of the highest value, from 0 at the left
	MaxY    int     `json:"max_y"` // row, from 0 at the top
	Missing int     `json:"missing"`

	Format    string `json:"format,omitempty"`
	Frames    int    `json:"frames,omitempty"`    // in the file; 0 in records made before stacks were read: one
	MaxFrame  int    `json:"max_frame,omitempty"` // which of them holds the highest value, from 0
	Saturated int    `json:"saturated,omitempty"` // pixels at the end of the range, over all frames
}

// Take adds the next frame of the file to the statistics.
func (f *FrameFile) Take(st frame.Stats) {
	if f.Frames == 0 || st.Min < f.Min {
		f.Min = st.Min
	}
	if f.Frames == 0 || st.Max > f.Max {
		f.Max, f.MaxX, f.MaxY, f.MaxFrame = st.Max, st.MaxX, st.MaxY, f.Frames
	}
	f.Mean += (st.Mean - f.Mean) / float64(f.Frames+1)
	f.Missing += st.MissingCount
	f.Saturated += st.SaturatedCount
	f.Frames++
}

// MaxK returns the highest value as an apparent temperature in kelvin; false for counts.
func (f FrameFile) MaxK() (float64, bool) {
	switch f.Unit {
	case "degC":
		return f.Max + quantity.CelsiusZeroK, true
	case "K":
		return f.Max, true
	}
	return 0, false
}

// Attachment is any other file kept with a record, unread.
type Attachment struct {
	Name   string `json:"name"`
	SHA256 string `json:"sha256"`
	Size   int64  `json:"size"`
}

// Kind returns KindCapture.
func (Capture) Kind() string { return KindCapture }

// Title returns the empty name: a capture goes by its handle.
func (Capture) Title() string { return "" }

// Validate checks the capture. Fault Invalid, naming what to type.
func (c Capture) Validate() error {
	if err := CheckPurpose(c.Purpose); err != nil {
		return err
	}
	if (c.Purpose == Check) != (c.Artefact != nil) {
		return fault.Invalidf("a check is made on an artefact, and only a check is").WithHint("give --purpose check --on ARTEFACT, or --specimen and another purpose")
	}
	if (c.Specimen == nil) == (c.Artefact == nil) {
		return fault.Invalidf("a capture shows a specimen or an artefact").WithHint("give --specimen NAME, or --purpose check --on ARTEFACT")
	}
	if err := c.validateConditions(); err != nil {
		return err
	}
	for _, f := range c.Frames {
		if f.Unit != "degC" && f.Unit != "K" && f.Unit != "counts" {
			return fault.Invalidf("%q does not say what the numbers of a frame mean", f.Unit).WithHint("use --unit degC, --unit K or --unit counts")
		}
		if err := catalog.CheckText("file name", f.Name); err != nil {
			return err
		}
	}
	for _, d := range c.Deviations {
		if err := catalog.CheckText("deviation", d); err != nil {
			return err
		}
	}
	if err := c.On.Check(); err != nil {
		return err
	}
	return texts("source of the emissivity", c.EmissivityNote, "focus method", c.FocusMethod, "operator", c.Operator, "notes", c.Notes)
}

func (c Capture) validateConditions() error {
	if p := c.PowerW; p != nil && !(p.Value >= 0 && p.Value < 1e6) {
		return fault.Invalidf("a power of %s W is not possible", quantity.Fixed(p.Value, 6)).WithHint("give the power drawn, 0W or more")
	}
	if c.Purpose == Reference && c.PowerW != nil && c.PowerW.Value != 0 {
		return fault.Invalidf("a reference is taken without power, not at %s W", quantity.Fixed(c.PowerW.Value, 6)).WithHint("use --purpose measurement, or --power 0W")
	}
	for _, t := range []struct {
		what string
		e    *quantity.Estimate
	}{{"ambient", c.AmbientK}, {"reflected", c.ReflectedK}} {
		if t.e != nil && !(t.e.Value > 150 && t.e.Value < 1500) {
			return fault.Invalidf("an %s temperature of %s is not possible on a bench", t.what, quantity.Exactly(t.e.Value).Format(quantity.Kelvin)).WithHint("check the unit, for example 23.1C")
		}
	}
	if e := c.Emissivity; e != nil {
		if !(e.Value > 0 && e.Value <= 1) {
			return fault.Invalidf("emissivity %s is not above 0 and at most 1", quantity.Fixed(e.Value, 6)).WithHint(`type a ratio such as 0.95 or "0.80(3)"; leave it out if it is not known`)
		}
		if c.EmissivityFrom != Measured && c.EmissivityFrom != FromTable && c.EmissivityFrom != Assumed {
			return fault.Invalidf("an emissivity needs to say how it was obtained").WithHint("give --emissivity-from measured, table or assumed")
		}
	} else if c.EmissivityFrom != "" {
		return fault.Invalidf("how the emissivity was obtained is given, but no emissivity").WithHint("give --emissivity 0.95 as well, or neither")
	}
	if s := c.SincePowerS; s != nil && s.Value < 0 {
		return fault.Invalidf("a time since power-up of %s s is before power-up", quantity.Fixed(s.Value, 6)).WithHint("give 0s or more")
	}
	if d := c.DistanceMM; d != nil && !(d.Value > 0 && d.Value < 1e5) {
		return fault.Invalidf("a distance of %s mm is not possible", quantity.Fixed(d.Value, 6)).WithHint("give the distance from the first lens to the specimen, for example 10.2mm")
	}
	if n := c.FramesAveraged; n != nil && *n < 1 {
		return fault.Invalidf("an average of %d frames is not possible", *n).WithHint("give 1 for a single frame")
	}
	return nil
}

// PowerFrom returns the power in watts of a voltage in volts and a current in
// amperes, with the uncertainty propagated to first order as for independent
// inputs (JCGM 100:2008, 5.1.2); none when either has none.
func PowerFrom(voltageV, currentA quantity.Estimate) quantity.Estimate {
	p := quantity.Estimate{Value: voltageV.Value * currentA.Value}
	uv, okV := voltageV.StandardU()
	ui, okI := currentA.StandardU()
	if okV && okI {
		u := math.Hypot(currentA.Value*uv, voltageV.Value*ui)
		p.U = &u
	}
	return p
}

// PowerGiven says which of the ways to state the power a person used.
type PowerGiven struct{ Power, Unpowered, VoltageOrCurrent bool }

// SettlePower makes PowerW follow from what was given: one power, no power, or a
// voltage and a current. Fault Conflict when two ways are used at once, Invalid
// when one of voltage and current is missing.
func (c *Capture) SettlePower(given PowerGiven) error {
	ways := 0
	for _, way := range []bool{given.Power, given.Unpowered, given.VoltageOrCurrent} {
		if way {
			ways++
		}
	}
	switch {
	case ways > 1:
		return fault.Conflictf("the power is stated in more than one way").WithHint("give --power, or --voltage and --current, or --unpowered")
	case given.Unpowered:
		zero := quantity.Exactly(0)
		c.PowerW, c.VoltageV, c.CurrentA = &zero, nil, nil
	case given.Power:
		c.VoltageV, c.CurrentA = nil, nil
	case given.VoltageOrCurrent && (c.VoltageV == nil) != (c.CurrentA == nil):
		return fault.Invalidf("a power needs both voltage and current").WithHint("give --voltage 5V --current 0.24A, or --power 1.2W")
	case given.VoltageOrCurrent && c.VoltageV == nil:
		c.PowerW = nil
	case given.VoltageOrCurrent:
		p := PowerFrom(*c.VoltageV, *c.CurrentA)
		c.PowerW = &p
	}
	return nil
}

// Missing returns the conditions that were not recorded, in a fixed order. Those
// that have no meaning for the purpose are left out: a check on an artefact has
// no power and no time since power-up.
func (c Capture) Missing() []string {
	var out []string
	note := func(absent bool, what string) {
		if absent {
			out = append(out, what)
		}
	}
	if c.Purpose != Check {
		note(c.PowerW == nil, "power")
		note(c.SincePowerS == nil && c.Purpose != Reference, "time since power-up")
	}
	note(c.AmbientK == nil, "ambient")
	note(c.ReflectedK == nil, "reflected temperature")
	note(c.Emissivity == nil, "emissivity")
	note(c.DistanceMM == nil, "distance")
	note(c.FocusMethod == "", "focus method")
	note(c.FramesAveraged == nil, "averaging")
	note(c.On == "", "when")
	note(len(c.Frames) == 0, "raw frame")
	return out
}
