package store

import (
	"context"
	"database/sql"
	"runtime"

	"dieglow/catalog/fault"
	"dieglow/notebook/journal"
)

// stored is an entry with its body as the tables hold them, and as read.
type stored struct {
	seq                    int64
	line, hash, salt, body []byte

	entry      journal.Entry
	entryHash  journal.Hash
	entryErr   error
	commitment journal.Hash // to the body found
	record     Body
	recordErr  error
}

// read hashes and decodes the entry and its body.
func (s *stored) read() {
	if s.entry, s.entryHash, s.entryErr = journal.Read(s.seq, s.line, s.hash); s.entryErr != nil {
		return
	}
	if s.entry.Seq != s.seq {
		s.entryErr = fault.Corruptf("entry %d: holds the bytes of entry %d", s.seq, s.entry.Seq)
		return
	}
	if s.body == nil || len(s.salt) != journal.SaltSize {
		s.body = nil
		return
	}
	s.commitment = journal.Commit([journal.SaltSize]byte(s.salt), s.body)
	s.record, _, s.recordErr = decodeKind(s.entry.Kind, s.body)
}

// batch is entries read by one goroutine; done is closed when they are.
type batch struct {
	entries []stored
	bytes   []byte // what the entries' slices share
	done    chan struct{}
}

const (
	batchSize  = 256
	batchQueue = 8 // batches on their way; bounds the memory
)

// eachEntry calls visit for every entry in order. Hashing and decoding, most of
// the work, is done by other goroutines meanwhile. The bytes of what is visited
// do not outlive the call.
func (tx *Tx) eachEntry(visit func(*stored) error) error {
	ctx, cancel := context.WithCancel(tx.ctx)
	defer cancel()
	ordered, work, free := make(chan *batch, batchQueue), make(chan *batch, batchQueue), make(chan *batch, batchQueue)
	for range runtime.GOMAXPROCS(0) {
		go func() {
			for b := range work {
				for i := range b.entries {
					b.entries[i].read()
				}
				close(b.done)
			}
		}()
	}
	fetched := make(chan error, 1)
	go func() {
		fetched <- tx.fetch(ctx, ordered, work, free)
		close(ordered)
		close(work)
	}()
	var err error
	for b := range ordered {
		if err != nil {
			continue // until the fetching goroutine has let go of the database
		}
		<-b.done
		for i := range b.entries {
			if err = visit(&b.entries[i]); err != nil {
				cancel()
				break
			}
		}
		select {
		case free <- b:
		default:
		}
	}
	if ferr := <-fetched; err == nil {
		err = ferr
	}
	return err
}

// fetch reads the journal's tables and hands batches to both channels; it gets
// back those that were visited.
func (tx *Tx) fetch(ctx context.Context, ordered, work chan<- *batch, free <-chan *batch) error {
	rows, err := tx.tx.QueryContext(tx.ctx, "select e.seq, e.line, e.hash, b.salt, b.bytes from entry e left join body b on b.seq = e.seq order by e.seq")
	if err != nil {
		return err
	}
	defer rows.Close()
	b := newBatch(free)
	send := func() {
		work <- b
		ordered <- b
		b = newBatch(free)
	}
	var seq int64
	var line, hash, salt, body sql.RawBytes
	for ctx.Err() == nil && rows.Next() { // cancelling a query would interrupt the whole connection
		if err := rows.Scan(&seq, &line, &hash, &salt, &body); err != nil {
			return err
		}
		b.entries = append(b.entries, stored{seq: seq, line: b.keep(line), hash: b.keep(hash), salt: b.keep(salt), body: b.keep(body)})
		if len(b.entries) == batchSize {
			send()
		}
	}
	send()
	return rows.Err()
}

func newBatch(free <-chan *batch) *batch {
	select {
	case b := <-free:
		return &batch{entries: b.entries[:0], bytes: b.bytes[:0], done: make(chan struct{})}
	default:
		return &batch{entries: make([]stored, 0, batchSize), bytes: make([]byte, 0, 1<<19), done: make(chan struct{})}
	}
}

// keep copies a value of the current row; nil stays nil.
func (b *batch) keep(v sql.RawBytes) []byte {
	if v == nil {
		return nil
	}
	if cap(b.bytes)-len(b.bytes) < len(v) { // what is kept stays where it is
		b.bytes = make([]byte, 0, max(1<<19, len(v)))
	}
	n := len(b.bytes)
	b.bytes = append(b.bytes, v...)
	return b.bytes[n:len(b.bytes):len(b.bytes)]
}

// revisions holds the newest revision of each record replayed so far, by id.
type revisions map[string]int

// follow counts the entry. Fault Corrupt when it is not the next revision of its record.
func (r revisions) follow(e journal.Entry) error {
	if want := r[e.SubjectID] + 1; e.Revision != want {
		return fault.Corruptf("entry %d (%s): it says revision %d where %d is due", e.Seq, e.Subject, e.Revision, want)
	}
	r[e.SubjectID] = e.Revision
	return nil
}
