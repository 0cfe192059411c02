package cli

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"dieglow/catalog"
	"dieglow/catalog/fault"
	"dieglow/catalog/quantity"
	"dieglow/notebook"
	"dieglow/notebook/heat"
	"dieglow/notebook/temperature"
	"dieglow/store"
)

// heatedCapture is a capture at a known power with the finding of its temperature,
// nil where only the frame's highest apparent value is to be had.
type heatedCapture struct {
	notebook.Record[notebook.Capture]
	finding *notebook.Record[notebook.Finding]
}

// heatedCaptures returns the captures that say how a specimen's temperature goes
// with its power, in the order recorded, and what kept others out. Of each capture
// the newest object temperature counts. Unpowered frames without one are left out
// where others have one: the two are not alike.
func heatedCaptures(tx *store.Tx, specimen string) (list []heatedCapture, notes []string, err error) {
	captures, err := tx.CapturesOf(specimen)
	if err != nil {
		return nil, nil, err
	}
	corrected := false
	for _, c := range captures {
		h, why, err := heated(tx, c)
		if err != nil {
			return nil, nil, err
		}
		if why != "" {
			notes = append(notes, c.Handle+" is left out: "+why)
			continue
		}
		corrected = corrected || h.finding != nil
		list = append(list, h)
	}
	return slices.DeleteFunc(list, func(h heatedCapture) bool {
		apart := corrected && h.finding == nil && h.Body.PowerW.Value == 0
		if apart {
			notes = append(notes, h.Handle+" is left out: it is apparent and unpowered; dieglow capture measure "+h.Handle+" would make it count")
		}
		return apart
	}), notes, nil
}

// heated looks up the temperature of a capture; why says what is missing.
func heated(tx *store.Tx, c notebook.Record[notebook.Capture]) (h heatedCapture, why string, err error) {
	h.Record = c
	if c.Body.PowerW == nil {
		return h, "its power is not recorded", nil
	}
	findings, err := tx.FindingsOf(c.ID)
	if err != nil {
		return h, "", err
	}
	for _, f := range slices.Backward(findings) {
		if f.Body.Quantity == notebook.ObjectTemperature {
			h.finding = &f
			return h, "", nil
		}
	}
	if _, ok := hottestApparent(c.Body); !ok {
		return h, "no temperature is on record; dieglow capture measure " + c.Handle + " records one", nil
	}
	return h, "", nil
}

// hottestApparent returns the highest value of a capture's frames as the camera gives it.
func hottestApparent(c notebook.Capture) (k float64, ok bool) {
	for _, f := range c.Frames {
		if v, isTemp := f.MaxK(); isTemp && (!ok || v > k) {
			k, ok = v, true
		}
	}
	return k, ok
}

// alone are the inputs of a budget that belong to one reading; the others, such as
// the emissivity, are the same for all captures of a specimen.
func alone() []string { return []string{"noise", "drift"} }

// powered makes a point of a capture. ambient stands in where it has none.
func (h heatedCapture) powered(ambient *quantity.Estimate) heat.Powered {
	p := heat.Powered{Label: h.Handle, PowerW: *h.Body.PowerW, Apparent: true, SharedK: map[string]float64{}}
	if a := cmp.Or(h.Body.AmbientK, ambient); a != nil {
		p.AmbientK = *a
	}
	if h.finding == nil {
		k, _ := hottestApparent(h.Body)
		p.TempK = quantity.Exactly(k)
		return p
	}
	f := h.finding.Body
	p.Apparent, p.TempK = false, *f.ValueK
	for _, row := range f.Budget.Rows {
		switch {
		case row.U == nil || row.Contribution == 0:
		case slices.Contains(alone(), row.Input):
			p.OwnUK = quantity.RootSumSquare(p.OwnUK, row.Contribution)
		case row.Sensitivity != nil && *row.Sensitivity < 0:
			p.SharedK[row.Input] = -row.Contribution
		default:
			p.SharedK[row.Input] = row.Contribution
		}
	}
	return p
}

// points makes points of captures, with what a reader should know of them. Where a
// capture's ambient is not recorded, its point is left out.
func points(list []heatedCapture, ambient *quantity.Estimate) (out []heat.Powered, notes []string) {
	setups, places := map[string]bool{}, map[string]bool{}
	for _, h := range list {
		if h.Body.AmbientK == nil && ambient == nil {
			notes = append(notes, h.Handle+" is left out: its ambient temperature is not recorded; amend it with --ambient")
			continue
		}
		out = append(out, h.powered(ambient))
		setups[h.Body.Setup.String()] = true
		if h.finding == nil {
			if h.Body.PowerW.Value > 0 {
				notes = append(notes, h.Handle+" is apparent: dieglow capture measure "+h.Handle+" corrects it, once emissivity and reflected temperature are on record")
			}
		} else if f := h.finding.Body; h.Body.PowerW.Value > 0 {
			places[fmt.Sprintf("column %d, row %d", f.X, f.Y)] = true
			if f.Settings.At != temperature.Hottest {
				notes = append(notes, h.finding.Handle+" is of a "+f.Settings.At+", not of the hottest place")
			}
		}
		if h.Body.SincePowerS == nil && h.Body.PowerW.Value > 0 {
			notes = append(notes, h.Handle+" does not say how long the power was on: it may not have been at equilibrium, and the part gets hotter at the same power")
		}
	}
	if len(setups) > 1 {
		notes = append(notes, "the captures were taken with different setups, whose blur may differ")
	}
	if len(places) > 1 {
		notes = append(notes, "the places read differ: "+strings.Join(sortedKeysOf(places), "; "))
	}
	return out, notes
}

func sortedKeysOf(m map[string]bool) []string {
	var keys []string
	for k := range m {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	return keys
}

// chosenCaptures keeps the captures that are named, by handle, in the order recorded.
func chosenCaptures(tx *store.Tx, all []heatedCapture, names string) ([]heatedCapture, error) {
	wanted := map[string]bool{}
	for _, name := range strings.Split(names, ",") {
		c, err := store.Get[notebook.Capture](tx, strings.TrimSpace(name))
		if err != nil {
			return nil, err
		}
		if !slices.ContainsFunc(all, func(h heatedCapture) bool { return h.ID == c.ID }) {
			return nil, fault.Invalidf("%s says nothing of how this specimen warms with power", c.Handle).
				WithHint("name captures of this specimen with a power and a temperature; dieglow specimen show lists its captures")
		}
		wanted[c.ID] = true
	}
	return slices.DeleteFunc(all, func(h heatedCapture) bool { return !wanted[h.ID] }), nil
}

// latestAmbient is the ambient of the newest capture that has one.
func latestAmbient(list []heatedCapture) *quantity.Estimate {
	for _, h := range slices.Backward(list) {
		if h.Body.AmbientK != nil {
			return h.Body.AmbientK
		}
	}
	return nil
}

// refsOf returns the captures' references.
func refsOf(list []heatedCapture) (out []catalog.Ref) {
	for _, h := range list {
		out = append(out, h.Ref)
	}
	return out
}
