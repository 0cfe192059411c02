package store

import (
	"bytes"
	"encoding/json"
	"math"
	"strings"
	"testing"

	"github.com/gowebpki/jcs"

	"dieglow/catalog/fault"
	"dieglow/notebook"
)

func written(tb testing.TB, v any) []byte {
	tb.Helper()
	var buf bytes.Buffer
	enc := json.NewEncoder(&buf)
	enc.SetEscapeHTML(false)
	if err := enc.Encode(v); err != nil {
		tb.Fatal(err)
	}
	return buf.Bytes()
}

// An independent implementation of RFC 8785 gives the same bytes for anything
// that encoding/json can write.
func TestCanonicalIsJCS(t *testing.T) {
	t.Parallel()
	var controls strings.Builder
	for r := range rune(0x30) {
		controls.WriteRune(r)
	}
	for _, v := range []any{
		nil, true, "", "a", 0, -1, 1e21, 1e20, 1e-7, 1e-6, 123456.789, math.MaxFloat64, math.SmallestNonzeroFloat64, math.Copysign(0, -1), 5e-324,
		1 << 53, -(1 << 53), 1<<53 + 2, float32(0.1),
		[]any{}, map[string]any{}, []any{[]any{}, map[string]any{"": nil}},
		controls.String(), "\u2028\u2029", "<&>", "\x7f\u0080ÿ€\U0001f600", "bad \xff utf-8", `back\slash "quoted" /`,
		map[string]any{"b": 1, "a": map[string]any{"z": []int{1, 2}, "y": "}{][,:\"\\"}, "aa": nil, "A": false, "": 0},
		map[string]any{"ö": 1, "z": 2, "\U0001f600": 3, "\ufb33": 4, "\r": 5, "1": 6, "€": 7, `\`: 8, `"`: 9}, // the last five as in RFC 8785, 3.2.3
		envelope[Body]{"why", notebook.Capture{Purpose: notebook.Check, Notes: "µ\n"}},
	} {
		in := written(t, v)
		want, err := jcs.Transform(in)
		if err != nil {
			want, err = jcs.Transform([]byte("[" + string(in) + "]")) // jcs wants an object or a list on top
			if err != nil {
				t.Fatalf("%s: %v", in, err)
			}
			want = want[1 : len(want)-1]
		}
		if got, err := canonical(in); err != nil || !bytes.Equal(got, want) {
			// jcs cannot be left a bare value, which no record is.
			if err == nil || bytes.HasPrefix(in, []byte("{")) || bytes.HasPrefix(in, []byte("[")) {
				t.Errorf("canonical(%s) = %s, %v, want %s", in, got, err, want)
			}
		}
	}
}

// jcs reads every number as a float64 and would store another amount than was given.
func TestCanonicalRefusesWhatWouldBeRounded(t *testing.T) {
	t.Parallel()
	for _, n := range []int{1<<53 + 1, -(1<<53 + 1), math.MaxInt64, math.MinInt64 + 1} {
		_, err := encode(notebook.Capture{FramesAveraged: &n}, "")
		if fault.KindOf(err) != fault.Invalid || fault.HintOf(err) == "" {
			t.Errorf("%d: %v, want fault Invalid", n, err)
		}
	}
}

func FuzzCanonical(f *testing.F) {
	f.Add([]byte(`{"b":[1,-0,1e400,"\\u2028"],"a":{"ö":null}}`))
	f.Add([]byte(`{"x":123456789012345678,"y":"\\ud800"}`))
	f.Fuzz(func(t *testing.T, raw []byte) {
		var v any
		dec := json.NewDecoder(bytes.NewReader(raw))
		if dec.Decode(&v) != nil {
			return
		}
		in := written(t, map[string]any{"value": v, "a": 1})
		got, err := canonical(in)
		if err != nil {
			if fault.KindOf(err) == fault.Invalid {
				return
			}
			t.Fatalf("%s: %v", in, err)
		}
		if want, err := jcs.Transform(in); err != nil || !bytes.Equal(got, want) {
			t.Errorf("canonical(%s) = %s, jcs gives %s, %v", in, got, want, err)
		}
	})
}

func BenchmarkCanonical(b *testing.B) {
	db, _ := newNotebook(b)
	c, _ := benchCapture(b, db)
	in := written(b, envelope[Body]{"", c})
	for name, f := range map[string]func([]byte) ([]byte, error){"canonical": canonical, "jcs": jcs.Transform} {
		b.Run(name, func(b *testing.B) {
			b.SetBytes(int64(len(in)))
			for b.Loop() {
				if _, err := f(in); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
