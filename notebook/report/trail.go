package report

import (
	"bytes"
	"encoding/json"
	"fmt"
	"slices"
	"strings"

	"dieglow/catalog"
	"dieglow/notebook"
)

// Trail says how a thing came to be: its own revisions, everything those rest
// on in the revision used, and what rests on it.
type Trail struct {
	Of        string        `json:"of"`
	Facts     []Fact        `json:"facts"`      // what it says, in the revision asked for
	Revisions []TrailStep   `json:"revisions"`  // of the thing itself, oldest first
	RestsOn   []TrailStep   `json:"rests_on"`   // every part, in the revision that was used
	RestingOn []catalog.Ref `json:"resting_on"` // newest revisions that refer to it
	Seal      Seal          `json:"seal"`
}

// TrailStep is one entry of the journal as a trail shows it.
type TrailStep struct {
	Record   string      `json:"record"` // "lens-4@2"
	Name     string      `json:"name"`
	Seq      int64       `json:"seq"`
	Hash     string      `json:"hash"` // of the entry
	Recorded string      `json:"recorded"`
	Who      string      `json:"who"`
	Reason   string      `json:"reason"`
	Changes  []Change    `json:"changes"` // against the revision before
	Files    []TrailFile `json:"files"`
}

// Change is one value that a revision changed.
type Change struct {
	Field string `json:"field"`
	Old   string `json:"old"`
	New   string `json:"new"`
}

// TrailFile is a raw file a record vouches for.
type TrailFile struct {
	Name   string `json:"name"`
	SHA256 string `json:"sha256"`
	Size   int64  `json:"size"`
}

// Step makes a trail step of a revision; before is the record of the revision
// before it, nil for the first. Both are the records as JSON.
func Step(m notebook.Meta, hash string, record, before json.RawMessage) (TrailStep, error) {
	s := TrailStep{Record: m.Ref.String(), Name: m.Name, Seq: m.Seq, Hash: hash, Recorded: m.Recorded.Format("2006-01-02 15:04:05 UTC"), Who: m.Who, Reason: m.Reason}
	now, err := flatten(record)
	if err != nil {
		return s, err
	}
	if before != nil {
		old, err := flatten(before)
		if err != nil {
			return s, err
		}
		s.Changes = changes(old, now)
	}
	for _, f := range m.Files {
		s.Files = append(s.Files, TrailFile{Name: fileName(record, f.SHA256), SHA256: f.SHA256, Size: f.Size})
	}
	return s, nil
}

// fileName returns what a record calls the file with a hash.
func fileName(record json.RawMessage, sha256 string) string {
	var named struct {
		Frames      []TrailFile `json:"frames"`
		Attachments []TrailFile `json:"attachments"`
		Derived     []TrailFile `json:"derived"`
	}
	if json.Unmarshal(record, &named) != nil {
		return ""
	}
	for _, f := range slices.Concat(named.Frames, named.Attachments, named.Derived) {
		if f.SHA256 == sha256 {
			return f.Name
		}
	}
	return ""
}

// flatten turns a record into dotted field names and their values as JSON text.
func flatten(record json.RawMessage) (map[string]string, error) {
	dec := json.NewDecoder(bytes.NewReader(record))
	dec.UseNumber()
	var v any
	if err := dec.Decode(&v); err != nil {
		return nil, fmt.Errorf("read a record: %w", err)
	}
	out := map[string]string{}
	var walk func(path string, v any)
	walk = func(path string, v any) {
		switch v := v.(type) {
		case map[string]any:
			for k, child := range v {
				walk(strings.TrimPrefix(path+"."+k, "."), child)
			}
		case []any:
			for i, child := range v {
				walk(fmt.Sprintf("%s[%d]", path, i+1), child)
			}
		case nil: // the same as not there
		default:
			text, _ := json.Marshal(v)
			out[path] = strings.Trim(string(text), `"`)
		}
	}
	walk("", v)
	return out, nil
}

func changes(old, now map[string]string) []Change {
	var out []Change
	for field, value := range now {
		if old[field] != value {
			out = append(out, Change{field, old[field], value})
		}
	}
	for field, value := range old {
		if _, ok := now[field]; !ok {
			out = append(out, Change{field, value, ""})
		}
	}
	slices.SortFunc(out, func(a, b Change) int { return strings.Compare(a.Field, b.Field) })
	return out
}

// RefsIn returns the references a record holds, in the order they stand in it.
func RefsIn(record json.RawMessage) []catalog.Ref {
	var v any
	if json.Unmarshal(record, &v) != nil {
		return nil
	}
	var out []catalog.Ref
	var walk func(v any)
	walk = func(v any) {
		switch v := v.(type) {
		case map[string]any:
			id, _ := v["id"].(string)
			handle, _ := v["handle"].(string)
			revision, _ := v["revision"].(float64)
			if id != "" && handle != "" && revision >= 1 && len(v) == 3 {
				out = append(out, catalog.Ref{ID: id, Handle: handle, Revision: int(revision)})
				return
			}
			keys := make([]string, 0, len(v))
			for k := range v {
				keys = append(keys, k)
			}
			slices.Sort(keys)
			for _, k := range keys {
				walk(v[k])
			}
		case []any:
			for _, child := range v {
				walk(child)
			}
		}
	}
	walk(v)
	return out
}

// TrailReport returns a document that shows a trail.
func TrailReport(t Trail) []byte {
	var b bytes.Buffer
	heading(&b, 1, "Trail of %s", t.Of)
	heading(&b, 2, "What it says")
	factTable(&b, t.Facts)
	heading(&b, 2, "How it was recorded and amended")
	for _, s := range t.Revisions {
		stepText(&b, s)
	}
	if len(t.RestsOn) > 0 {
		heading(&b, 2, "What it rests on, in the revision used")
		for _, s := range t.RestsOn {
			stepText(&b, s)
		}
	}
	heading(&b, 2, "What rests on it")
	if len(t.RestingOn) == 0 {
		b.WriteString("Nothing yet.\n")
	}
	for _, r := range t.RestingOn {
		fmt.Fprintf(&b, "- %s\n", r)
	}
	return seal(&b, t.Seal)
}

func stepText(b *bytes.Buffer, s TrailStep) {
	name := s.Record
	if s.Name != "" {
		name += " " + s.Name
	}
	fmt.Fprintf(b, "- **%s**: entry %d, %s, by %s, hash `%s`\n", escape(name), s.Seq, s.Recorded, escape(s.Who), s.Hash)
	if s.Reason != "" {
		fmt.Fprintf(b, "  - reason: %s\n", escape(s.Reason))
	}
	for _, c := range s.Changes {
		fmt.Fprintf(b, "  - %s: %s, before: %s\n", escape(c.Field), escape(orNotRecorded(c.New)), escape(orNotRecorded(c.Old)))
	}
	for _, f := range s.Files {
		fmt.Fprintf(b, "  - file %s, %d bytes, SHA-256 `%s`\n", escape(f.Name), f.Size, f.SHA256)
	}
}
