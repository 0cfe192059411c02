package journal

import (
	"bytes"
	"encoding/base64"
	"encoding/json"
	"strings"
	"testing"
	"time"

	"github.com/gowebpki/jcs"

	"dieglow/catalog/fault"
)

func sample(seq int64, prev Hash) Entry {
	return Entry{
		Body: Commit([SaltSize]byte{1}, []byte(`{}`)), Kind: "lens", Origin: "0191d9a0-0000-7000-8000-000000000000", Prev: prev,
		Recorded: time.Date(2026, 3, 1, 10, 0, 0, int(seq)*1e6, time.UTC), Revision: 1, Scope: "library", Seq: seq,
		Subject: "lens-1", SubjectID: "6f1c8a52-9a58-4b0e-8a53-1f0d3a8a8f11", Tool: "dieglow test", Who: "R. Tester \"µ\"\n\x01",
		Files: []File{{SHA256: strings.Repeat("ab", 32), Size: 12}},
	}
}

// An independent RFC 8785 implementation must leave our bytes as they are.
func TestCanonicalIsJCS(t *testing.T) {
	t.Parallel()
	line := sample(1, Hash{}).Canonical()
	got, err := jcs.Transform(line)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(got, line) {
		t.Errorf("jcs.Transform gives\n%s, want\n%s", got, line)
	}
}

// RFC 9901, 4.2.3: a digest over salted content, the shape our commitment has
// (there the salt is inside the encoded text; so the salt here is its first 16 bytes).
func TestCommitIsSHA256OverSaltAndBody(t *testing.T) {
	t.Parallel()
	const disclosure = "WyI2SWo3dE0tYTVpVlBHYm9TNXRtdlZBIiwgImVtYWlsIiwgImpvaG5kb2VAZXhhbXBsZS5jb20iXQ"
	got := Commit([SaltSize]byte([]byte(disclosure[:SaltSize])), []byte(disclosure[SaltSize:]))
	if s := base64.RawURLEncoding.EncodeToString(got[:]); s != "JzYjH4svliH0R3PyEMfeZu6Jt69u5qehZo7F7EPYlSE" {
		t.Errorf("digest = %s", s)
	}
}

func TestParseTakesOnlyCanonicalBytes(t *testing.T) {
	t.Parallel()
	line := sample(1, Hash{}).Canonical()
	if _, err := Parse(line); err != nil {
		t.Fatalf("own bytes: %v", err)
	}
	tests := []struct{ name, old, new string }{
		{"space", `{"body"`, `{ "body"`},
		{"repeated key", `"v":1`, `"v":1,"v":1`},
		{"unknown key", `"v":1`, `"v":1,"x":1`},
		{"later layout", `"v":1`, `"v":2`},
		{"key in other case", `"who"`, `"WHO"`},
		{"needless escape", `lens-1`, `lens\u002d1`},
		{"float", `"seq":1`, `"seq":1.0`},
		{"time in another layout", `.001Z`, `.0010Z`},
		{"not UTF-8", `lens-1`, "lens-\xff"},
	}
	for _, tt := range tests {
		bad := bytes.Replace(line, []byte(tt.old), []byte(tt.new), 1)
		if bytes.Equal(bad, line) {
			t.Fatalf("%s: nothing replaced", tt.name)
		}
		if _, err := Parse(bad); err == nil {
			t.Errorf("%s: taken", tt.name)
		}
	}
}

func chainOf(n int) (lines, hashes [][]byte) {
	var prev Hash
	for i := range n {
		line := sample(int64(i+1), prev).Canonical()
		prev = HashOf(line)
		lines, hashes = append(lines, line), append(hashes, bytes.Clone(prev[:]))
	}
	return lines, hashes
}

func follow(lines, hashes [][]byte) (Chain, error) {
	var c Chain
	for i := range lines {
		e, h, err := Read(int64(i+1), lines[i], hashes[i])
		if err == nil {
			err = c.Follow(e, h)
		}
		if err != nil {
			return c, err
		}
	}
	return c, nil
}

func TestChain(t *testing.T) {
	t.Parallel()
	lines, hashes := chainOf(5)
	c, err := follow(lines, hashes)
	if err != nil || c.Size != 5 || !bytes.Equal(c.Head[:], hashes[4]) {
		t.Fatalf("whole chain: size %d, %v", c.Size, err)
	}
	// Every single flipped bit of every entry must be noticed.
	for i := range lines {
		for bit := range len(lines[i]) * 8 {
			l, _ := chainOf(5)
			l[i][bit/8] ^= 1 << (bit % 8)
			if _, err := follow(l, hashes); fault.KindOf(err) != fault.Corrupt {
				t.Fatalf("entry %d bit %d flipped: %v", i+1, bit, err)
			}
		}
	}
	// A removed, repeated, swapped or re-hashed entry too.
	cut := append(append([][]byte{}, lines[:2]...), lines[3:]...)
	cutH := append(append([][]byte{}, hashes[:2]...), hashes[3:]...)
	if _, err := follow(cut, cutH); err == nil || !strings.Contains(err.Error(), "entry 3") {
		t.Errorf("entry 3 removed: %v", err)
	}
	e, _ := Parse(lines[1])
	e.Who = "someone else"
	edited := e.Canonical()
	h := HashOf(edited)
	l, hs := chainOf(5)
	l[1], hs[1] = edited, h[:]
	if _, err := follow(l, hs); err == nil || !strings.Contains(err.Error(), "entry 3: does not follow from entry 2") {
		t.Errorf("entry 2 edited and re-hashed: %v", err)
	}
}

func FuzzParse(f *testing.F) {
	f.Add(sample(1, Hash{}).Canonical())
	f.Add([]byte(`{"body":"","v":1}`))
	f.Fuzz(func(t *testing.T, line []byte) {
		e, err := Parse(line)
		if err != nil {
			return
		}
		if !bytes.Equal(e.Canonical(), line) {
			t.Errorf("accepted bytes that Canonical does not give back: %q", line)
		}
		if !json.Valid(line) {
			t.Errorf("accepted invalid JSON: %q", line)
		}
	})
}

func BenchmarkChain(b *testing.B) {
	lines, hashes := chainOf(1000)
	for b.Loop() {
		if _, err := follow(lines, hashes); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/1000, "ns/entry")
}
