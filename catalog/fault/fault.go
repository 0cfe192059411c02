// Package fault is the error leaf: every error a person is meant to read is a
// *fault.Error, which says what was wrong (Msg), what to type instead (Hint)
// and of which Kind it is. The command line turns the kind into an exit status.
//
// Errors of any other type are surprises: they are printed as they are and end
// the program with status 1.
package fault

import (
	"errors"
	"fmt"
)

// Kind sorts faults by what the reader can do about them.
type Kind int

// The kinds, with the exit status each one ends the program with.
const (
	Other     Kind = iota // status 1: a surprise, or the machine (disk, permission)
	Usage                 // status 2: the command line itself is wrong
	NotFound              // status 3: no such record, file or name
	Ambiguous             // status 3: more than one thing answers to the name
	Invalid               // status 4: a value outside its domain or without its unit
	Conflict              // status 4: the value contradicts what is already recorded
	TooNew                // status 4: the notebook was made by a later program
	Busy                  // status 5: another process holds the notebook
	Corrupt               // status 6: stored bytes are not what was written
)

// String returns the kind's name as it appears in JSON errors.
func (k Kind) String() string {
	names := [...]string{"other", "usage", "not_found", "ambiguous", "invalid", "conflict", "too_new", "busy", "corrupt"}
	if k < 0 || int(k) >= len(names) {
		return "other"
	}
	return names[k]
}

// ExitStatus returns the process exit status of the kind.
func (k Kind) ExitStatus() int {
	switch k {
	case Usage:
		return 2
	case NotFound, Ambiguous:
		return 3
	case Invalid, Conflict, TooNew:
		return 4
	case Busy:
		return 5
	case Corrupt:
		return 6
	default:
		return 1
	}
}

// Error is an error with a remedy.
type Error struct {
	Kind Kind
	Msg  string // what was wrong, lower case, no full stop
	Hint string // what to type or do instead; may be empty
	Err  error  // the cause, may be nil
}

// Error returns the message and the cause, without the hint.
func (e *Error) Error() string {
	if e.Err != nil {
		return e.Msg + ": " + e.Err.Error()
	}
	return e.Msg
}

// Unwrap returns the cause.
func (e *Error) Unwrap() error { return e.Err }

// WithHint returns a copy of e that carries the hint, formatted as by fmt.Sprintf.
func (e *Error) WithHint(format string, args ...any) *Error {
	c := *e
	c.Hint = fmt.Sprintf(format, args...)
	return &c
}

// Because returns a copy of e that wraps the cause.
func (e *Error) Because(cause error) *Error {
	c := *e
	c.Err = cause
	return &c
}

func newf(k Kind, format string, args []any) *Error {
	return &Error{Kind: k, Msg: fmt.Sprintf(format, args...)}
}

// Otherf makes a fault of kind Other.
func Otherf(format string, args ...any) *Error { return newf(Other, format, args) }

// Usagef makes a fault of kind Usage.
func Usagef(format string, args ...any) *Error { return newf(Usage, format, args) }

// NotFoundf makes a fault of kind NotFound.
func NotFoundf(format string, args ...any) *Error { return newf(NotFound, format, args) }

// Ambiguousf makes a fault of kind Ambiguous.
func Ambiguousf(format string, args ...any) *Error { return newf(Ambiguous, format, args) }

// Invalidf makes a fault of kind Invalid.
func Invalidf(format string, args ...any) *Error { return newf(Invalid, format, args) }

// Conflictf makes a fault of kind Conflict.
func Conflictf(format string, args ...any) *Error { return newf(Conflict, format, args) }

// TooNewf makes a fault of kind TooNew.
func TooNewf(format string, args ...any) *Error { return newf(TooNew, format, args) }

// Busyf makes a fault of kind Busy.
func Busyf(format string, args ...any) *Error { return newf(Busy, format, args) }

// Corruptf makes a fault of kind Corrupt.
func Corruptf(format string, args ...any) *Error { return newf(Corrupt, format, args) }

// KindOf returns the kind of the first *Error in err's chain, or Other.
func KindOf(err error) Kind {
	var e *Error
	if errors.As(err, &e) {
		return e.Kind
	}
	return Other
}

// HintOf returns the hint of the first *Error in err's chain that has one.
func HintOf(err error) string {
	for err != nil {
		var e *Error
		if !errors.As(err, &e) {
			return ""
		}
		if e.Hint != "" {
			return e.Hint
		}
		err = e.Err
	}
	return ""
}
