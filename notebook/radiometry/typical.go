package radiometry

// TypicalEmissivity is a starting value for a surface whose emissivity was not
// measured. It is an assumption: measure the surface in the camera's own band,
// or cover it with something of known emissivity, before a finding rests on it.
type TypicalEmissivity struct {
	Surface    string  `json:"surface"`
	Low        float64 `json:"low"`
	High       float64 `json:"high"`       // equal to Low where one value is given
	Conditions string  `json:"conditions"` // band and temperature as the source gives them
	Source     string  `json:"source"`
	Remark     string  `json:"remark,omitempty"`
	Status     string  `json:"status"` // always "assumption"
}

// Middle returns the middle of the range, to start from.
func (e TypicalEmissivity) Middle() float64 { return (e.Low + e.High) / 2 }

// HalfWidth returns half the range, at least 0.05 or, for surfaces below 0.1,
// half the value: no table is a better guide to a given surface than that
// (common practice, no source).
func (e TypicalEmissivity) HalfWidth() float64 {
	return max((e.High-e.Low)/2, min(0.05, e.Middle()/2))
}

// TypicalEmissivities returns the starting values, metals first.
func TypicalEmissivities() []TypicalEmissivity {
	const (
		total      = "total, normal, 20 °C"
		neutrium   = "neutrium.net, table of emissivities of common materials"
		excerpt    = "excerpt of an equipment maker's table that cites Bramson and Wolfe & Zissis"
		memory     = "from memory, not verified"
		wavelength = "a total value need not hold in a band"
	)
	list := []TypicalEmissivity{
		{Surface: "aluminium, vacuum-deposited", Low: 0.025, High: 0.025, Conditions: total, Source: neutrium, Remark: wavelength},
		{Surface: "aluminium, polished", Low: 0.03, High: 0.03, Conditions: total, Source: neutrium, Remark: wavelength},
		{Surface: "aluminium foil", Low: 0.025, High: 0.025, Conditions: total, Source: neutrium, Remark: wavelength},
		{Surface: "aluminium, heavily oxidised", Low: 0.20, High: 0.31, Conditions: "total", Source: neutrium, Remark: wavelength},
		{Surface: "gold, highly polished", Low: 0.02, High: 0.04, Conditions: "total", Source: "excerpt of an instrument manual's table", Remark: wavelength},
		{Surface: "copper, oxidised", Low: 0.60, High: 0.70, Conditions: "50 °C", Source: excerpt},
		{Surface: "copper, heavily oxidised", Low: 0.78, High: 0.78, Conditions: "not stated", Source: excerpt},
		{Surface: "copper, black oxidised", Low: 0.78, High: 0.88, Conditions: "not stated", Source: excerpt},
		{Surface: "alumina, flame-sprayed", Low: 0.80, High: 0.80, Conditions: "total, -25 °C", Source: neutrium, Remark: "sintered ceramic is about 0.9 in the long-wave infrared; older tables give powder 0.16 to 0.46 total"},
		{Surface: "silicon, bulk", Low: 0.46, High: 0.70, Conditions: "depends strongly on doping", Source: "excerpts of papers found by scite", Remark: "lightly doped silicon lets long-wave infrared through: it has no emissivity of its own without what lies behind it"},
		{Surface: "epoxy mould compound", Low: 0.90, High: 0.95, Conditions: "long-wave infrared", Source: memory},
		{Surface: "FR4 with solder mask", Low: 0.90, High: 0.95, Conditions: "long-wave infrared", Source: memory},
		{Surface: "polyimide tape over metal", Low: 0.90, High: 0.95, Conditions: "long-wave infrared", Source: memory, Remark: "depends on the thickness: a thin film lets the metal show through"},
		{Surface: "black PVC tape", Low: 0.96, High: 0.96, Conditions: "long-wave infrared", Source: excerpt},
		{Surface: "black gloss paint", Low: 0.90, High: 0.90, Conditions: "40 °C", Source: "cableizer.com, emissivity table after EPFL lecture notes"},
	}
	for i := range list {
		list[i].Status = "assumption"
	}
	return list
}
