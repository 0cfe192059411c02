package frame

import (
	"bytes"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"slices"
	"strconv"
	"strings"
	"testing"

	"dieglow/catalog/fault"
)

func TestReadText(t *testing.T) {
	t.Parallel()
	nan := math.NaN()
	want := []float64{22.5, -1, 0.25, 300}
	tests := []struct {
		name, in string
		width    int
		want     []float64
	}{
		{"commas", "22.5,-1\n0.25,300\n", 2, want},
		{"no newline at the end", "22.5,-1\n0.25,300", 2, want},
		{"CR LF", "22.5,-1\r\n0.25,300\r\n", 2, want},
		{"byte order mark", "\ufeff22.5,-1\n0.25,300\n", 2, want},
		{"semicolons", "22.5;-1\n0.25;300\n", 2, want},
		{"tabs", "22.5\t-1\n0.25\t300\n", 2, want},
		{"decimal commas between semicolons", "22,5;-1\n0,25;300\n", 2, want},
		{"decimal commas between tabs", "-1\t22,5\n300\t0,25\n", 2, []float64{-1, 22.5, 300, 0.25}},
		{"spaces around cells", " 22.5 , -1 \n0.25 ,300 \n", 2, want},
		{"separator at the end of rows", "22.5,-1,\n0.25,300,\n", 2, want},
		{"comments", "# camera\n22.5,-1\n# between\n0.25,300\n#end", 2, want},
		{"header", "Temperature (°C)\n22.5,-1\n0.25,300\n", 2, want},
		{"header of cells", "\"left\",\"right\"\n22.5,-1\n0.25,300\n", 2, want},
		{"blank lines around", "\n\n22.5,-1\n0.25,300\n\n\n", 2, want},
		{"exponents", "2.25e1,-1E0\n2.5E-01,+3e2\n", 2, want},
		{"missing pixel", "1,nan\n-NaN,4\n", 2, []float64{1, nan, nan, 4}},
		{"bare marks", "5.;.5\n5;-.5\n", 2, []float64{5, .5, 5, -.5}},
		{"one row", "1,2,3,4", 4, []float64{1, 2, 3, 4}},
		{"one column", "1\n2\n3.5\n", 1, []float64{1, 2, 3.5}},
		{"whole numbers then decimal commas", "1;2\n3;4,5\n", 2, []float64{1, 2, 3, 4.5}},
		{"many digits", "0.1234567890123456789012345,9007199254740993\n", 2, []float64{0.1234567890123456789012345, 9007199254740993}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			f, err := ReadText(strings.NewReader(tt.in), Limits{})
			if err != nil {
				t.Fatalf("ReadText(%q): %v", tt.in, err)
			}
			if f.Width != tt.width || f.Width*f.Height != len(f.Pixels) || !slices.EqualFunc(f.Pixels, tt.want, same) {
				t.Errorf("ReadText(%q) = %d x %d %v, want width %d %v", tt.in, f.Width, f.Height, f.Pixels, tt.width, tt.want)
			}
			missing := 0
			for _, v := range tt.want {
				if math.IsNaN(v) {
					missing++
				}
			}
			if f.MissingCount != missing {
				t.Errorf("MissingCount = %d, want %d", f.MissingCount, missing)
			}
		})
	}
}

func TestReadTextRefuses(t *testing.T) {
	t.Parallel()
	tests := []struct{ name, in, want string }{
		{"empty", "", "no rows of numbers"},
		{"only comments", "# a\n\n# b\n", "no rows of numbers"},
		{"only a header", "Temperature\n", "no rows of numbers"},
		{"short row", "1,2,3\n4,5\n", "line 2 has 2 columns, the first row has 3"},
		{"long row", "1,2\n4,5,6,7\n", "line 2 has 4 columns, the first row has 2"},
		{"not UTF-8", "1,2\n3,\xb0\n", "line 2: not UTF-8 text (byte 0xb0)"},
		{"UTF-16", "\xff\xfe1\x00,\x00", "the text is UTF-16"},
		{"binary", "1,2\n\x00", "line 2: not UTF-8 text (byte 0x00)"},
		{"word", "1,2\n3,hot\n", `line 2, column 2: "hot" is not a number`},
		{"word in the first row", "1,hot\n", `line 1, column 2: "hot" is not a number`},
		{"two header lines", "a,b\nc,d\n1,2\n", `line 2, column 1: "c" is not a number`},
		{"unit in the cell", "22.1 °C,3\n", `line 1, column 1: "22.1 °C" is not one number`},
		{"empty cell", "1,,3\n", "line 1, column 2: is empty"},
		{"empty last cell", "1,2\n3,\n", "line 2, column 2: is empty"},
		{"infinite", "1,2\n-inf,2\n", `line 2, column 1: "-inf" is infinite`},
		{"beyond a float64", "1,1e999\n", `line 1, column 2: "1e999" is infinite`},
		{"beyond any frame", "1,1e31\n", `"1e31" is larger than any temperature or count`},
		{"hexadecimal", "1,0x10p0\n", `"0x10p0" is not a number`},
		{"underscore", "1,1_000\n", `"1_000" is not a number`},
		{"mixed separators in a row", "1;2\t3\n", `mixes separators`},
		{"mixed separators between rows", "1,2\n3;4\n", `line 2, column 1: "3;4" mixes separators`},
		{"comma among semicolons", "1.5,2.5;3\n", `line 1, column 1: "1.5,2.5" mixes separators`},
		{"thousands and decimals", "1.234,5;2\n", `"1.234,5" mixes separators or decimal marks`},
		{"two decimal marks", "1.5;2,5\n", `line 1, column 2: "2,5" uses another decimal mark`},
		{"two decimal marks, comma first", "1;2,5\n3.5;4\n", `line 2, column 1: "3.5" uses another decimal mark`},
		{"quoted", "1,2\n\"3\",4\n", `line 2, column 1: "\"3\"" is quoted`},
		{"all quoted is no header", "\"1,5\",\"2,5\"\n1,2,3,4\n", "line 1, column 1"},
		{"spaces between", "22.1 22.3\n22.2 22.4\n", `line 1, column 1: "22.1 22.3" is not one number`},
		{"damaged spreadsheet cell", "1,2\n#N/A,3\n", `line 2, column 1: "#N/A" is not a number`},
		{"blank line inside", "1,2\n\n3,4\n", "line 2: a blank line inside the frame"},
		{"all missing", "nan,nan\n", "every pixel is missing"},
		{"old line ends", "1,2\r3,4\r", "is not one number"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			f, err := ReadText(strings.NewReader(tt.in), Limits{})
			if err == nil {
				t.Fatalf("ReadText(%q) = %v, want an error", tt.in, f)
			}
			if fault.KindOf(err) != fault.Invalid || !strings.Contains(err.Error(), tt.want) {
				t.Errorf("ReadText(%q): %v (%v), want %q (invalid)", tt.in, err, fault.KindOf(err), tt.want)
			}
			if fault.HintOf(err) == "" {
				t.Errorf("ReadText(%q): no hint with %q", tt.in, err)
			}
		})
	}
}

func TestReadTextLimits(t *testing.T) {
	t.Parallel()
	if _, err := ReadText(strings.NewReader("1,2\n3,4\n"), Limits{MaxPixels: 4}); err != nil {
		t.Errorf("4 pixels with a limit of 4: %v", err)
	}
	for _, in := range []string{"1,2\n3,4\n5,6\n", "1,2,3,4,5\n"} {
		_, err := ReadText(strings.NewReader(in), Limits{MaxPixels: 4})
		if fault.KindOf(err) != fault.Invalid || !strings.Contains(err.Error(), "more than 4 pixels") {
			t.Errorf("ReadText(%q) with a limit of 4: %v, want more than 4 pixels", in, err)
		}
	}
	endless := io.MultiReader(strings.NewReader("# "), neverEnding('x'))
	if _, err := ReadText(endless, Limits{MaxPixels: 4}); fault.KindOf(err) != fault.Invalid {
		t.Errorf("an endless comment: %v, want fault Invalid", err)
	}
}

type neverEnding byte

func (b neverEnding) Read(p []byte) (int, error) {
	for i := range p {
		p[i] = byte(b)
	}
	return len(p), nil
}

// same compares bit by bit, so that -0 and 0 differ, and takes NaN as NaN.
func same(a, b float64) bool {
	return math.Float64bits(a) == math.Float64bits(b) || math.IsNaN(a) && math.IsNaN(b)
}

// TestNumberAgainstStrconv compares with the standard library, bit by bit.
func TestNumberAgainstStrconv(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(1, 2))
	for range 200_000 {
		whole := rng.Uint64() >> rng.UintN(64)
		frac := rng.Uint64() >> rng.UintN(64)
		s := fmt.Sprintf("%d.%0*d", whole, rng.IntN(24), frac)
		if rng.IntN(2) == 0 {
			s = "-" + s
		}
		got, ok := number([]byte(s), '.')
		want, err := strconv.ParseFloat(s, 64)
		if !ok || err != nil || !same(got, want) {
			t.Fatalf("number(%q) = %v, %v; strconv.ParseFloat gives %v, %v", s, got, ok, want, err)
		}
	}
}

// TestRowsAgainstStrconv does the same through whole rows, where most numbers
// go a faster way.
func TestRowsAgainstStrconv(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(15, 16))
	for _, sep := range []string{",", ";", "\t"} {
		for range 300 {
			var cells []string
			for range 1 + rng.IntN(40) {
				cells = append(cells, strconv.FormatFloat((rng.Float64()-0.3)*math.Pow10(rng.IntN(8)), 'f', rng.IntN(9), 64))
			}
			row := strings.Join(cells, sep)
			f, err := ReadText(strings.NewReader(row), Limits{})
			if err != nil || f.Width != len(cells) {
				t.Fatalf("ReadText(%q) = %d columns, %v", row, f.Width, err)
			}
			for i, c := range cells {
				if want, _ := strconv.ParseFloat(c, 64); !same(f.Pixels[i], want) {
					t.Fatalf("cell %q reads as %v, strconv.ParseFloat gives %v", c, f.Pixels[i], want)
				}
			}
		}
	}
}

func FuzzNumber(f *testing.F) {
	for _, s := range []string{"0", "-0", "22.154250", "1e-400", "9007199254740993", "0.000000000000000000000001",
		"1844674407370955161600.0", "+.5", "5.", ".", "-", "nan", "1e5", "99999999999999999999"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		got, ok := number([]byte(s), '.')
		want, err := strconv.ParseFloat(s, 64)
		if ok && (err == nil || math.IsInf(want, 0)) && !same(got, want) {
			t.Errorf("number(%q) = %v, strconv.ParseFloat gives %v", s, got, want)
		}
		decimal := strings.Trim(s, "0123456789.eE+-") == ""
		if decimal && ok != (err == nil || math.IsInf(want, 0)) {
			t.Errorf("number(%q) ok = %v, strconv.ParseFloat gives %v", s, ok, err)
		}
		if comma, okComma := number([]byte(strings.Replace(s, ".", ",", 1)), ','); ok && strings.Count(s, ",") == 0 && (!okComma || !same(comma, got)) {
			t.Errorf("%q reads as %v with a decimal comma, %v with a point", s, comma, got)
		}
	})
}

func FuzzReadText(f *testing.F) {
	for _, s := range []string{"1,2\n3,4\n", "1,5;2\r\n3;4", "\ufeffa\tb\n1\tnan\n", "# c\n\n1;2;\n3;4;\n\n", "1\n\n2", ";\n", ",", "#N/A\n"} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		const most = 1 << 10
		fr, err := ReadText(bytes.NewReader(data), Limits{MaxPixels: most})
		if err != nil {
			if fault.KindOf(err) != fault.Invalid || fault.HintOf(err) == "" {
				t.Fatalf("error without kind or hint: %v", err)
			}
			return
		}
		if n := len(fr.Pixels); n == 0 || n > most || n != fr.Width*fr.Height || n > len(data)/2+1 {
			t.Fatalf("%d pixels in %d x %d from %d bytes", n, fr.Width, fr.Height, len(data))
		}
		// The rows written plainly read back to the same frame.
		var b bytes.Buffer
		for i, v := range fr.Pixels {
			b.WriteString(strconv.FormatFloat(v, 'g', -1, 64))
			if (i+1)%fr.Width == 0 {
				b.WriteByte('\n')
			} else {
				b.WriteByte(',')
			}
		}
		again, err := ReadText(&b, Limits{MaxPixels: most})
		if err != nil || again.Width != fr.Width || again.MissingCount != fr.MissingCount || !slices.EqualFunc(again.Pixels, fr.Pixels, same) {
			t.Fatalf("%v does not read back: %v, %v", fr, again, err)
		}
	})
}

// text256x192 is a frame of the size of a common small detector, six decimals
// a pixel.
func text256x192() []byte {
	rng := rand.New(rand.NewPCG(3, 4))
	var b bytes.Buffer
	for range 192 {
		for x := range 256 {
			if x > 0 {
				b.WriteByte(',')
			}
			fmt.Fprintf(&b, "%.6f", 20+10*rng.Float64())
		}
		b.WriteByte('\n')
	}
	return b.Bytes()
}

func BenchmarkReadText256x192(b *testing.B) {
	data := text256x192()
	b.SetBytes(int64(len(data)))
	b.ReportAllocs()
	for b.Loop() {
		if _, err := ReadText(bytes.NewReader(data), Limits{}); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkStats256x192(b *testing.B) {
	f, err := ReadText(bytes.NewReader(text256x192()), Limits{})
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		f.Stats()
	}
}
