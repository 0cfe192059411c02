package cli

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"dieglow/catalog"
	"dieglow/catalog/fault"
	"dieglow/catalog/material"
)

// readStackFile reads what calc stack takes. It is strict, because a figure from a
// misread stack looks like any other: every key must be known and occur once.
// Fault Invalid or, for a material or data set, NotFound.
func readStackFile(data []byte, extrapolate bool) (calcTask, error) {
	data = bytes.TrimPrefix(data, []byte("\ufeff"))
	if err := checkJSON(data); err != nil {
		return calcTask{}, err
	}
	top, err := readObject("the stack", data, "wavelength_um", "elements")
	if err != nil {
		return calcTask{}, err
	}
	var task calcTask
	task.wavelengthUM = top.number("wavelength_um")
	if w := task.wavelengthUM; w != nil && *w <= 0 {
		top.fail(fault.Invalidf(`"wavelength_um" is %g, not above zero`, *w).WithHint(`type "wavelength_um": 10`))
	}
	list := top.list("elements")
	if top.err != nil {
		return calcTask{}, top.err
	}
	for i, raw := range list {
		part, err := readPart(fmt.Sprintf("lens %d", i+1), raw, partContext{task.wavelengthUM, extrapolate})
		if err != nil {
			return calcTask{}, err
		}
		task.parts = append(task.parts, part)
	}
	return task, task.stack().Validate()
}

// checkJSON reports whether data is one JSON value in UTF-8. Fault Invalid.
func checkJSON(data []byte) error {
	if !utf8.Valid(data) {
		return fault.Invalidf("the text is not valid UTF-8").WithHint("save it as UTF-8")
	}
	var whole json.RawMessage
	err := json.Unmarshal(data, &whole)
	if err == nil {
		return nil
	}
	line := 1
	var syntax *json.SyntaxError
	if errors.As(err, &syntax) {
		line += bytes.Count(data[:min(int(syntax.Offset), len(data))], []byte("\n"))
	}
	return fault.Invalidf("line %d: this is not JSON: %v", line, err).
		WithHint("check quotes, commas and brackets; numbers are plain, without a unit, NaN or Infinity; a plane surface is null")
}

// jsonObject is an object being read. Its first error is kept.
type jsonObject struct {
	where   string // what messages call it
	members map[string]json.RawMessage
	err     error
}

// readObject splits an object into its members. Fault Invalid when raw is no
// object, or a key is unknown or occurs twice.
func readObject(where string, raw json.RawMessage, known ...string) (*jsonObject, error) {
	hint := "the keys are " + strings.Join(known, ", ")
	if kind := jsonKind(raw); kind != "an object" {
		return nil, fault.Invalidf("%s is %s, not an object", where, kind).WithHint(`type an object in {}; %s`, hint)
	}
	o := &jsonObject{where: where, members: map[string]json.RawMessage{}}
	dec := json.NewDecoder(bytes.NewReader(raw))
	if _, err := dec.Token(); err != nil {
		return nil, err
	}
	for dec.More() {
		token, err := dec.Token()
		if err != nil {
			return nil, err
		}
		key, _ := token.(string)
		var value json.RawMessage
		if err := dec.Decode(&value); err != nil {
			return nil, err
		}
		if !slices.Contains(known, key) {
			return nil, fault.Invalidf("%s: the key %.60q is not known", where, key).WithHint("%s", hint)
		}
		if _, twice := o.members[key]; twice {
			return nil, fault.Invalidf("%s: the key %q occurs twice", where, key).WithHint("leave one of them out")
		}
		o.members[key] = value
	}
	return o, nil
}

// jsonKind names what a JSON value is.
func jsonKind(raw json.RawMessage) string {
	raw = bytes.TrimSpace(raw)
	switch raw[0] { // a valid value has a first byte
	case '{':
		return "an object"
	case '[':
		return "a list"
	case '"':
		return "a text"
	case 'n':
		return "null"
	case 't', 'f':
		return string(raw)
	}
	return "a number"
}

// fail keeps the first error and says where it is.
func (o *jsonObject) fail(err *fault.Error) {
	if o.err == nil {
		e := *err
		e.Msg = o.where + ": " + e.Msg
		o.err = &e
	}
}

func (o *jsonObject) has(key string) bool { _, ok := o.members[key]; return ok }

// number reads a number; nil when the key is absent.
func (o *jsonObject) number(key string) *float64 {
	raw, ok := o.members[key]
	if !ok {
		return nil
	}
	if kind := jsonKind(raw); kind != "a number" {
		o.fail(fault.Invalidf("%q is %s, not a number", key, kind).WithHint("%s", numberHint(key, kind)))
		return nil
	}
	v, err := strconv.ParseFloat(string(bytes.TrimSpace(raw)), 64)
	if err != nil {
		o.fail(fault.Invalidf("%q is too large a number", key).WithHint(`type a finite number, for example %q: 25`, key))
		return nil
	}
	return &v
}

func numberHint(key, kind string) string {
	if kind == "null" {
		return fmt.Sprintf("leave %q out, or type a number", key)
	}
	return fmt.Sprintf("type the number alone, the unit is in the key: %q: 25", key)
}

// text reads a text; empty when the key is absent.
func (o *jsonObject) text(key string) string {
	raw, ok := o.members[key]
	if !ok {
		return ""
	}
	var s string
	if kind := jsonKind(raw); kind != "a text" || json.Unmarshal(raw, &s) != nil {
		o.fail(fault.Invalidf("%q is %s, not a text", key, kind).WithHint("type a word in quotes, or leave %q out", key))
		return ""
	}
	if err := catalog.CheckText(strconv.Quote(key), s); err != nil {
		o.fail(fault.Invalidf("%v", err).WithHint("%s", fault.HintOf(err)))
	} else if s = strings.TrimSpace(s); s == "" || len(s) > 60 || strings.ContainsAny(s, "\n\t") {
		o.fail(fault.Invalidf("%q is empty, longer than 60 bytes or has a line break", key).WithHint("type a short word, or leave %q out", key))
	}
	return s
}

// list reads the list that must be there.
func (o *jsonObject) list(key string) []json.RawMessage {
	var list []json.RawMessage
	raw, ok := o.members[key]
	switch {
	case !ok:
		o.fail(fault.Invalidf("%q is missing", key).WithHint(`type %q: [{"focal_mm": 25}], or the lenses you have`, key))
	case jsonKind(raw) != "a list" || json.Unmarshal(raw, &list) != nil:
		o.fail(fault.Invalidf("%q is %s, not a list", key, jsonKind(raw)).WithHint("type a list of lenses in []"))
	case len(list) == 0:
		o.fail(fault.Invalidf("%q holds no lens", key).WithHint(`type at least one, for example {"focal_mm": 25}`))
	}
	return list
}

// partContext is what a lens takes from the stack it stands in.
type partContext struct {
	wavelengthUM *float64
	extrapolate  bool
}

// readPart reads one lens and finds its index.
func readPart(where string, raw json.RawMessage, in partContext) (calcPart, error) {
	o, err := readObject(where, raw, "name", "material", "dataset", "n", "radius1_mm", "radius2_mm", "thickness_mm", "focal_mm", "mirror_radius_mm", "reflectance", "diameter_mm", "gap_after_mm")
	if err != nil {
		return calcPart{}, err
	}
	if name := o.text("name"); name != "" {
		o.where = where + ` (` + name + `)`
	}
	part := calcPart{gapMM: o.number("gap_after_mm")}
	part.element.Name = o.text("name")
	if d := o.number("diameter_mm"); d != nil {
		if *d <= 0 {
			o.fail(fault.Invalidf(`"diameter_mm" is %g, not above zero`, *d).WithHint(`type "diameter_mm": 12.7, or leave it out`))
		}
		part.element.DiameterMM = *d
	}
	if g := part.gapMM; g != nil && *g < 0 {
		o.fail(fault.Invalidf(`"gap_after_mm" is %g, below zero`, *g).WithHint("type 0 or more, between the facing vertices"))
	}
	o.describes()
	switch {
	case o.has("mirror_radius_mm"):
		o.readMirror(&part)
	case o.has("focal_mm"):
		o.readThin(&part)
	default:
		o.readThick(&part)
	}
	if o.err != nil {
		return calcPart{}, o.err
	}
	if o.has("material") {
		return part, o.findIndex(&part, in)
	}
	return part, nil
}

// describes checks that the element is described in one way.
func (o *jsonObject) describes() {
	var ways []string
	for _, key := range []string{"material", "n", "focal_mm", "mirror_radius_mm"} {
		if o.has(key) {
			ways = append(ways, strconv.Quote(key))
		}
	}
	const hint = `type "material" or "n" for a thick lens, "focal_mm" for a thin one, or "mirror_radius_mm" for a mirror`
	switch {
	case len(ways) == 0:
		o.fail(fault.Invalidf(`none of "material", "n", "focal_mm" and "mirror_radius_mm" is there`).WithHint(hint))
	case len(ways) > 1:
		o.fail(fault.Invalidf("%s are both there", strings.Join(ways[:2], " and ")).WithHint(hint))
	case o.has("dataset") && !o.has("material"):
		o.fail(fault.Invalidf(`"dataset" is there without "material"`).WithHint(`add "material", or leave "dataset" out`))
	case o.has("reflectance") && !o.has("mirror_radius_mm"):
		o.fail(fault.Invalidf(`"reflectance" is there without "mirror_radius_mm"`).WithHint(`add "mirror_radius_mm", null for a plane mirror, or leave "reflectance" out`))
	}
}

func (o *jsonObject) readMirror(part *calcPart) {
	for _, key := range []string{"radius1_mm", "radius2_mm", "thickness_mm"} {
		if o.has(key) {
			o.fail(fault.Invalidf(`%q is there with "mirror_radius_mm"`, key).WithHint("leave %q out: light meets one face of a mirror and does not enter it", key))
		}
	}
	part.element.Mirror, part.element.Radius1MM = true, o.radius("mirror_radius_mm")
	r := o.number("reflectance")
	switch {
	case r == nil:
		o.fail(fault.Invalidf(`"reflectance" is missing`).WithHint(`type what the maker states, for example "reflectance": 0.98`))
	case *r <= 0 || *r > 1:
		o.fail(fault.Invalidf(`"reflectance" is %g, not above 0 and at most 1`, *r).WithHint(`type a share of the light, for example "reflectance": 0.98`))
	default:
		part.element.Reflectance = *r
	}
}

func (o *jsonObject) readThin(part *calcPart) {
	for _, key := range []string{"radius1_mm", "radius2_mm", "thickness_mm"} {
		if o.has(key) {
			o.fail(fault.Invalidf(`%q is there with "focal_mm"`, key).WithHint(`leave %q out for a thin lens; or leave "focal_mm" out and type "material" or "n" with both radii and the thickness`, key))
		}
	}
	if f := o.number("focal_mm"); f != nil {
		if *f == 0 {
			o.fail(fault.Invalidf(`"focal_mm" is 0`).WithHint("type a focal length, below zero for a diverging lens"))
		}
		part.element.FocalMM = *f
	}
}

func (o *jsonObject) readThick(part *calcPart) {
	part.element.Radius1MM = o.radius("radius1_mm")
	part.element.Radius2MM = o.radius("radius2_mm")
	if t := o.number("thickness_mm"); t != nil {
		part.element.ThicknessMM = *t
	} else {
		o.fail(fault.Invalidf(`"thickness_mm" is missing`).WithHint(`type the centre thickness, for example "thickness_mm": 3`))
	}
	if n := o.number("n"); n != nil {
		if *n <= 1 { // 0 would say that the lens is thin
			o.fail(fault.Invalidf(`"n" is %g, not above 1`, *n).WithHint(`type the refractive index against air, for example "n": 4.004`))
		}
		part.element.N = *n
	}
}

// radius reads a radius that must be there; 0 for the null of a plane.
func (o *jsonObject) radius(key string) float64 {
	hint := fmt.Sprintf("type %q: 25, or %q: null for a plane surface", key, key)
	raw, ok := o.members[key]
	if !ok {
		o.fail(fault.Invalidf("%q is missing", key).WithHint("%s", hint))
		return 0
	}
	if jsonKind(raw) == "null" {
		return 0
	}
	r := o.number(key)
	if r == nil {
		return 0
	}
	if *r == 0 {
		o.fail(fault.Invalidf("%q is 0", key).WithHint("%s", hint))
	}
	return *r
}

// findIndex looks up the index of the named material.
func (o *jsonObject) findIndex(part *calcPart, in partContext) error {
	name, dataset := o.text("material"), o.text("dataset")
	if o.err != nil {
		return o.err
	}
	wrap := func(err error) error {
		return (&fault.Error{Kind: fault.KindOf(err), Msg: o.where}).Because(err)
	}
	m, err := material.Find(name)
	if err != nil {
		return wrap(err)
	}
	d, err := m.Dataset(dataset)
	if err != nil {
		return wrap(err)
	}
	if in.wavelengthUM == nil {
		return fault.Invalidf(`%s: the index of %s needs "wavelength_um" beside "elements"`, o.where, m.Slug).
			WithHint(`type "wavelength_um": 10, or "n" instead of "material"`)
	}
	index, err := m.Index(*in.wavelengthUM, material.IndexOptions{Dataset: dataset, Extrapolate: in.extrapolate})
	if err != nil {
		return (&fault.Error{Kind: fault.KindOf(err), Msg: o.where}).Because(err).
			WithHint(`type a "wavelength_um" from %g to %g, another "dataset" (dieglow material show %s lists them), or add --extrapolate to go beyond what was measured`, d.LowUM, d.HighUM, m.Slug)
	}
	part.material, part.index, part.element.N = m.Slug, &index, index.N
	return nil
}
