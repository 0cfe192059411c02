package notebook

import (
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
	Unsolved map[string]int       `json:"unsolved"`  // pixels of the map without a value, by reason
	Stage    *Stage               `json:"stage"`     // of an emissivity map
	Derived  []Attachment         `json:"derived"`   // maps and pictures made
	RawFiles []string             `json:"raw_files"` // SHA-256 of what it was computed from
	Program  string               `json:"program"`   // name and version
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
		return fault.Invalidf("%q is not a quantity of a finding", f.Quantity)
	}
	if f.Quantity == ObjectTemperature && f.Budget == nil {
		return fault.Invalidf("an object temperature has no budget")
	}
	return nil
}
