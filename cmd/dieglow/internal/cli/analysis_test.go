package cli

import (
	"bytes"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/spf13/pflag"

	"dieglow/store"
)

// TestNothingBesideUnprintable: figures that JSON cannot hold leave no files.
func TestNothingBesideUnprintable(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	var out, notes bytes.Buffer
	app := &App{In: strings.NewReader(""), Out: &out, Err: &notes, Env: func(string) string { return "" }, Source: store.Source{Now: time.Now}, json: true}
	cmd := newFrameAnalysis(app, analysis{
		name:  "none",
		flags: func(*pflag.FlagSet) {},
		run: func(*input, subject) (analysed, error) {
			draw := func() ([]derivedFile, error) { return []derivedFile{{"map.npy", []byte("x")}}, nil }
			return analysed{figures: math.NaN(), draw: draw}, nil
		},
	})
	cmd.SetArgs([]string{"frame.csv", "--to", filepath.Join(dir, "p-")})
	cmd.SetOut(&notes)
	cmd.SetErr(&notes)
	if err := cmd.Execute(); err == nil {
		t.Error("NaN was printed")
	}
	if left, err := os.ReadDir(dir); err != nil || len(left) > 0 || out.Len() > 0 {
		t.Errorf("%v left beside %q: %v", left, out.String(), err)
	}
}
