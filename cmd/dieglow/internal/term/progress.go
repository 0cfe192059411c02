package term

import (
	"fmt"
	"io"
	"os"
	"sync"

	"golang.org/x/term"
)

// Progress is one line that says how far a long piece of work is. It is written
// to a terminal alone, and taken away again by Done. Any number of goroutines may
// use it.
type Progress struct {
	out   io.Writer // nil: not a terminal
	lock  sync.Mutex
	shown string
}

// NewProgress returns a line on out, which is where messages go and not results.
// TERM=dumb, which cannot take a line back, has none.
func NewProgress(out io.Writer, env func(string) string) *Progress {
	if f, ok := out.(*os.File); ok && term.IsTerminal(int(f.Fd())) && env("TERM") != "dumb" {
		return &Progress{out: out}
	}
	return &Progress{}
}

// Show says that done of total of a stage are through.
func (p *Progress) Show(stage string, done, total int64) {
	if p.out == nil || total <= 0 {
		return
	}
	p.lock.Lock()
	defer p.lock.Unlock()
	if line := fmt.Sprintf("%s: %d %%", Clean(stage), 100*done/total); line != p.shown {
		fmt.Fprintf(p.out, "\r\x1b[K%s", line)
		p.shown = line
	}
}

// Done takes the line away.
func (p *Progress) Done() {
	if p.out == nil {
		return
	}
	p.lock.Lock()
	defer p.lock.Unlock()
	if p.shown != "" {
		fmt.Fprint(p.out, "\r\x1b[K")
		p.shown = ""
	}
}
