// Package cli is the command tree: one file a noun. It wires the rooms together
// and holds neither arithmetic nor SQL.
package cli

import (
	"context"
	"crypto/rand"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"os/signal"
	"path/filepath"
	"syscall"
	"time"

	"github.com/google/uuid"

	"dieglow/catalog/fault"
	"dieglow/cmd/dieglow/internal/term"
	"dieglow/notebook/journal"
	"dieglow/store"
)

// Version is the program's version, noted in every journal entry.
const Version = "0.1.0"

// App is what the commands get from outside.
type App struct {
	In       io.Reader
	Out, Err io.Writer
	Env      func(string) string
	Source   store.Source
	Local    *time.Location // zone of times typed without one

	// Set by the root command's flags.
	notebook string
	by       string
	json     bool
	plain    bool
}

// System returns the App of the real machine.
func System() *App {
	return &App{
		In: os.Stdin, Out: os.Stdout, Err: os.Stderr, Env: os.Getenv, Local: time.Local,
		Source: store.Source{
			Now: time.Now, NewV4: uuid.NewRandom, NewV7: uuid.NewV7, Tool: "dieglow " + Version,
			NewSalt: func() (salt [journal.SaltSize]byte, err error) {
				_, err = rand.Read(salt[:])
				return salt, err
			},
		},
	}
}

// statusInterrupted is the exit status after Ctrl-C: 128 + SIGINT.
const statusInterrupted = 130

// Main runs one command and returns the exit status.
func Main(app *App, args []string) int {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	root := newRoot(app)
	root.SetArgs(args)
	root.SetIn(app.In)
	root.SetOut(app.Out)
	root.SetErr(app.Err)
	err := root.ExecuteContext(ctx)
	if err == nil {
		return 0
	}
	status := fault.KindOf(err).ExitStatus()
	if ctx.Err() != nil {
		status = statusInterrupted
	}
	app.reportError(err, status)
	return status
}

// reportError prints the error once, with its remedy.
func (app *App) reportError(err error, status int) {
	if app.json {
		type jsonError struct {
			Kind    string `json:"kind"`
			Message string `json:"message"`
			Hint    string `json:"hint"`
			Status  int    `json:"status"`
		}
		enc := json.NewEncoder(app.Err)
		enc.SetEscapeHTML(false)
		if enc.Encode(map[string]jsonError{"error": {fault.KindOf(err).String(), err.Error(), fault.HintOf(err), status}}) == nil {
			return
		}
	}
	fmt.Fprintf(app.Err, "dieglow: error: %s\n", term.Clean(err.Error()))
	if hint := fault.HintOf(err); hint != "" {
		fmt.Fprintf(app.Err, "dieglow: hint: %s\n", term.Clean(hint))
	}
}

// screen returns where results go.
func (app *App) screen() term.Screen {
	s := term.NewScreen(app.Out, app.Env)
	if app.plain {
		s = s.Plain()
	}
	return s
}

// notef writes a line for the person at the terminal, beside the result.
func (app *App) notef(format string, args ...any) {
	fmt.Fprintf(app.Err, "dieglow: %s\n", term.Clean(fmt.Sprintf(format, args...)))
}

// emit prints a result: as JSON with --json, otherwise by text.
func (app *App) emit(v any, text func() error) error {
	if !app.json {
		return text()
	}
	enc := json.NewEncoder(app.Out)
	enc.SetEscapeHTML(false)
	enc.SetIndent("", "  ")
	return enc.Encode(v)
}

// notebookDir returns the notebook's folder: --notebook, DIEGLOW_NOTEBOOK, or
// the nearest one at or above the working directory. Fault NotFound.
func (app *App) notebookDir() (string, error) {
	if app.notebook != "" {
		return app.notebook, nil
	}
	if dir := app.Env("DIEGLOW_NOTEBOOK"); dir != "" {
		return dir, nil
	}
	start, err := os.Getwd()
	if err != nil {
		return "", fmt.Errorf("find the working directory: %w", err)
	}
	for dir := start; ; dir = filepath.Dir(dir) {
		if _, err := os.Stat(filepath.Join(dir, store.FileName)); err == nil {
			return dir, nil
		}
		if dir == filepath.Dir(dir) {
			return "", fault.NotFoundf("there is no notebook here or above").
				WithHint("start one with dieglow init DIR, or name one with --notebook DIR or DIEGLOW_NOTEBOOK")
		}
	}
}

// view runs f on the notebook, opened for reading only.
func (app *App) view(ctx context.Context, f func(*store.Tx) error) error {
	dir, err := app.notebookDir()
	if err != nil {
		return err
	}
	db, err := store.OpenRead(ctx, dir, app.Source)
	if err != nil {
		return err
	}
	defer db.Close()
	return db.View(ctx, f)
}

// openWrite opens the notebook for recording and finds out who records.
func (app *App) openWrite(ctx context.Context) (*store.DB, string, error) {
	dir, err := app.notebookDir()
	if err != nil {
		return nil, "", err
	}
	db, err := store.OpenWrite(ctx, dir, app.Source)
	if err != nil {
		return nil, "", err
	}
	who, err := app.operator(ctx, db)
	if err != nil {
		db.Close()
		return nil, "", err
	}
	return db, who, nil
}

// update runs f in one transaction on the notebook.
func (app *App) update(ctx context.Context, f func(*store.Tx) error) error {
	return app.updateAs(ctx, func(tx *store.Tx, _ string) error { return f(tx) })
}

// operator returns who records: --by, DIEGLOW_OPERATOR, or the notebook's own.
// Fault Invalid when nobody is named: an entry without a person is no record.
func (app *App) operator(ctx context.Context, db *store.DB) (who string, err error) {
	switch {
	case app.by != "":
		return app.by, checkOperator(app.by)
	case app.Env("DIEGLOW_OPERATOR") != "":
		return app.Env("DIEGLOW_OPERATOR"), checkOperator(app.Env("DIEGLOW_OPERATOR"))
	}
	err = db.View(ctx, func(tx *store.Tx) error {
		who, err = tx.Operator()
		return err
	})
	if err == nil && who == "" {
		err = fault.Invalidf("nobody is named as the operator").WithHint(`add --by "name", or set DIEGLOW_OPERATOR`)
	}
	return who, err
}

// updateAs is update for a change that names the operator in its record.
func (app *App) updateAs(ctx context.Context, f func(tx *store.Tx, who string) error) error {
	db, who, err := app.openWrite(ctx)
	if err != nil {
		return err
	}
	defer db.Close()
	return db.Update(ctx, who, func(tx *store.Tx) error { return f(tx, who) })
}
