package cli

import (
	"math"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"dieglow/catalog"
	"dieglow/catalog/fault"
	"dieglow/catalog/quantity"
)

// input reads the values a person gave, as flags or as a line of a table. Only
// values that were given change anything, so that the same reading serves to add
// and to amend; the first error is kept and names its flag or column.
type input struct {
	given  func(name string) (string, bool)   // the text of a value, if it was given
	lists  func(name string) ([]string, bool) // of one that may be repeated
	prefix string                             // before its name in messages: "--", or "column "
	now    time.Time
	local  *time.Location
	note   func(format string, args ...any) // for what is odd but not wrong
	err    error
}

// input reads the flags of a command.
func (app *App) input(cmd *cobra.Command) *input {
	return &input{
		given: func(flag string) (string, bool) {
			f := cmd.Flags().Lookup(flag)
			if f == nil || !f.Changed {
				return "", false
			}
			return f.Value.String(), true
		},
		lists: func(flag string) ([]string, bool) {
			if f := cmd.Flags().Lookup(flag); f == nil || !f.Changed {
				return nil, false
			}
			list, err := cmd.Flags().GetStringArray(flag)
			return list, err == nil
		},
		prefix: "--", now: app.Source.Now(), local: app.Local, note: app.notef,
	}
}

// fail keeps the first error and names the value it is about.
func (in *input) fail(flag string, err error) {
	if err == nil || in.err != nil {
		return
	}
	in.err = (&fault.Error{Kind: fault.KindOf(err), Msg: in.prefix + flag}).Because(err)
}

func (in *input) text(flag string, into *string) {
	if s, ok := in.given(flag); ok {
		*into = strings.TrimSpace(s)
		in.fail(flag, catalog.CheckText("the text", s))
	}
}

// estimate reads a value with its unit and uncertainty; an empty text takes the
// recorded value away.
func (in *input) estimate(flag string, unit quantity.Unit, into **quantity.Estimate) {
	s, ok := in.given(flag)
	if !ok {
		return
	}
	if strings.TrimSpace(s) == "" {
		*into = nil
		return
	}
	e, err := quantity.Parse(s, unit)
	in.fail(flag, err)
	*into = &e
}

// value reads a value with its unit and without uncertainty.
func (in *input) value(flag string, unit quantity.Unit, into **float64) {
	s, ok := in.given(flag)
	if !ok {
		return
	}
	if strings.TrimSpace(s) == "" {
		*into = nil
		return
	}
	v, err := quantity.ParseValue(s, unit)
	in.fail(flag, err)
	*into = &v
}

// must reads a value that a record cannot do without.
func (in *input) must(flag string, unit quantity.Unit, into *float64) {
	p := into
	in.value(flag, unit, &p)
	if p != nil {
		*into = *p
	} else {
		in.fail(flag, fault.Invalidf("this value cannot be left empty").WithHint("give a number with its unit"))
	}
}

// radius reads a radius of curvature or the word plane.
func (in *input) radius(flag string, into **quantity.Estimate) {
	if s, ok := in.given(flag); ok && strings.EqualFold(strings.TrimSpace(s), "plane") {
		*into = nil
		return
	}
	in.estimate(flag, quantity.Millimetre, into)
}

func (in *input) money(flag string, into **quantity.Money) {
	s, ok := in.given(flag)
	if !ok {
		return
	}
	if strings.TrimSpace(s) == "" {
		*into = nil
		return
	}
	m, err := quantity.ParseMoney(s)
	in.fail(flag, err)
	*into = &m
}

func (in *input) when(flag string, into *catalog.When) {
	s, ok := in.given(flag)
	if !ok {
		return
	}
	if strings.TrimSpace(s) == "" {
		*into = ""
		return
	}
	w, err := catalog.ParseWhen(s, in.now, in.local)
	in.fail(flag, err)
	*into = w
}

// past is when for what has happened: a day still to come is taken, since the
// machine's clock may be the one that is wrong, and remarked on.
func (in *input) past(flag string, into *catalog.When) {
	in.when(flag, into)
	if _, ok := in.given(flag); ok && in.err == nil && into.Day() > in.now.UTC().AddDate(0, 0, 1).Format("2006-01-02") {
		in.note("warning: %s%s lies in the future", in.prefix, flag)
	}
}

// count reads a whole number; an empty text takes the recorded value away.
func (in *input) count(flag string, into **int) {
	s, ok := in.given(flag)
	if !ok {
		return
	}
	if strings.TrimSpace(s) == "" {
		*into = nil
		return
	}
	v, err := quantity.ParseValue(s, quantity.One)
	if err == nil && (v != math.Trunc(v) || math.Abs(v) > 1e9 || strings.Contains(s, "%")) {
		err = fault.Invalidf("%q is not a whole number", s).WithHint("give a count such as 3")
	}
	in.fail(flag, err)
	n := int(v)
	*into = &n
}

func (in *input) flag(flag string, into *bool) {
	if s, ok := in.given(flag); ok {
		switch strings.ToLower(s) {
		case "true", "yes", "1":
			*into = true
		case "false", "no", "0":
			*into = false
		default:
			in.fail(flag, fault.Invalidf("%q is neither yes nor no", s).WithHint("write yes or no"))
		}
	}
}

// list reads a value that may be repeated.
func (in *input) list(flag string, into *[]string) {
	if list, ok := in.lists(flag); ok {
		*into = list
	}
}

// interval reads "1W..2W", "1W.." or "..2W".
func (in *input) interval(flag string, unit quantity.Unit) (low, high *float64) {
	s, ok := in.given(flag)
	if !ok {
		return nil, nil
	}
	from, to, ok := strings.Cut(s, "..")
	if !ok || strings.TrimSpace(from+to) == "" {
		in.fail(flag, fault.Invalidf("%q is not a range", s).WithHint("write low..high, each with its unit, for example 1W..2W, 1W.. or ..2W"))
		return nil, nil
	}
	read := func(text string) *float64 {
		if strings.TrimSpace(text) == "" {
			return nil
		}
		v, err := quantity.ParseValue(text, unit)
		in.fail(flag, err)
		return &v
	}
	low, high = read(from), read(to)
	if low != nil && high != nil && *low > *high {
		in.fail(flag, fault.Invalidf("%q runs from the larger value to the smaller", s).WithHint("write low..high"))
	}
	return low, high
}
