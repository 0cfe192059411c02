package notebook

import (
	"encoding/json"
	"maps"
	"slices"

	"dieglow/catalog"
	"dieglow/catalog/fault"
	"dieglow/catalog/quantity"
	"dieglow/notebook/temperature"
)

// KindFinding is the kind of Finding.
const KindFinding = "finding"

// The quantities a finding can be of.
const (
	ObjectTemperature   = "object temperature"
	ApparentTemperature = "apparent temperature" // what the camera reports; not the object's
	EmissivityMap       = "emissivity map"
)

// The names of results that other commands look for.
const (
	ResultPixelUM    = "object_pixel_um" // measured scale: what one pixel sees of the object
	ResultResolvedUM = "smallest_bar_um" // measured resolution: half a period, at ResultContrast
	ResultEdgeUM     = "edge_width_um"   // 10 % to 90 %
	ResultContrast   = "contrast"        // that a bar had to keep
)

// Result is one figure of a finding that an analysis made.
type Result struct {
	Name   string            `json:"name"` // with its unit, as in the JSON of the frame command
	Label  string            `json:"label"`
	Value  quantity.Estimate `json:"value"`              // in Unit
	Unit   string            `json:"unit"`               // "" for a plain number
	WhyNoU string            `json:"why_no_u,omitempty"` // why the value carries no uncertainty
}

// Analysis is how a finding was computed: which analysis of the frame commands,
// with which flags, so that it can be computed again.
type Analysis struct {
	File      string                `json:"file"`     // of the capture's frame files
	Flags     Flags                 `json:"flags"`    // as typed
	Files     map[string]Attachment `json:"files"`    // what flags that name a file named
	PixelUM   *quantity.Estimate    `json:"pixel_um"` // object pixel taken from the setup; nil: the flags state it, or it was not needed
	PixelFrom string                `json:"pixel_from"`
	Captures  []catalog.Ref         `json:"captures,omitempty"` // of a specimen, where the finding is over several
}

// Flags are the flags of an analysis with their values as typed, by name. In JSON
// they are a list in the order of their names.
type Flags map[string]string

// flag is one of Flags in JSON.
type flag struct {
	Name  string `json:"name"`
	Value string `json:"value"`
}

// MarshalJSON writes the flags as a list.
func (f Flags) MarshalJSON() ([]byte, error) {
	list := []flag{}
	for _, name := range slices.Sorted(maps.Keys(f)) {
		list = append(list, flag{name, f[name]})
	}
	return json.Marshal(list)
}

// UnmarshalJSON reads them back.
func (f *Flags) UnmarshalJSON(data []byte) error {
	var list []flag
	if err := json.Unmarshal(data, &list); err != nil {
		return err
	}
	*f = Flags{}
	for _, one := range list {
		(*f)[one.Name] = one.Value
	}
	return nil
}

// Result returns a result by its name.
func (f Finding) Result(name string) (Result, bool) {
	for _, r := range f.Results {
		if r.Name == name {
			return r, true
		}
	}
	return Result{}, false
}

// Finding is something computed from a capture, with all it rests on, so that it
// can be computed again.
type Finding struct {
	Capture  catalog.Ref          `json:"capture"`
	Other    *catalog.Ref         `json:"other_capture"` // the hot one, of an emissivity map
	Quantity string               `json:"quantity"`
	ValueK   *quantity.Estimate   `json:"value_k"` // of a temperature
	WhyNot   string               `json:"why_not"` // why only an apparent temperature follows
	X        int                  `json:"x"`       // where, from 0 at the top left
	Y        int                  `json:"y"`
	Pixels   int                  `json:"pixels"` // taken together
	Settings temperature.Settings `json:"settings"`
	Budget   *temperature.Budget  `json:"budget"`
	Unsolved map[string]int       `json:"unsolved"` // pixels of the map without a value, by reason
	Stage    *Stage               `json:"stage"`    // of an emissivity map
	Analysis *Analysis            `json:"analysis,omitempty"`
	Results  []Result             `json:"results,omitempty"` // of an analysis
	Derived  []Attachment         `json:"derived"`           // maps and pictures made
	RawFiles []string             `json:"raw_files"`         // SHA-256 of what it was computed from
	Program  string               `json:"program"`           // name and version
}

// Stage is how an emissivity map was measured.
type Stage struct {
	Way      string             `json:"way"`             // two temperatures, one temperature or reference patch
	ColdK    quantity.Estimate  `json:"cold_k"`          // of the stage, or of the patch
	HotK     *quantity.Estimate `json:"hot_k"`           // two temperatures only
	Patch    string             `json:"patch,omitempty"` // column,row,width,height, with its emissivity
	Mean     float64            `json:"mean_emissivity"` // of the trusted pixels
	Trusted  int                `json:"trusted"`
	Rule     string             `json:"rule"`
	CommonU  float64            `json:"common_relative_u"`
	ShiftXPx float64            `json:"shift_x_px"` // of the hot frame
	ShiftYPx float64            `json:"shift_y_px"`
	Shifted  bool               `json:"shift_applied"`
}

// Kind returns KindFinding.
func (Finding) Kind() string { return KindFinding }

// Title returns the empty name: a finding goes by its handle.
func (Finding) Title() string { return "" }

// Validate checks the finding. Fault Invalid otherwise.
func (f Finding) Validate() error {
	switch f.Quantity {
	case ObjectTemperature, ApparentTemperature:
		if f.ValueK == nil {
			return fault.Invalidf("a finding of a temperature has no value")
		}
	case EmissivityMap:
		if f.Stage == nil || len(f.Derived) == 0 {
			return fault.Invalidf("an emissivity map has no map")
		}
	default:
		if f.Analysis != nil && len(f.Results) > 0 {
			return nil
		}
		return fault.Invalidf("%q is not a quantity of a finding", f.Quantity)
	}
	if f.Quantity == ObjectTemperature && f.Budget == nil {
		return fault.Invalidf("an object temperature has no budget")
	}
	return nil
}
