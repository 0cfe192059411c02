package fault_test

import (
	"errors"
	"fmt"
	"testing"

	"dieglow/catalog/fault"
)

func TestKindsHaveNamesAndStatuses(t *testing.T) {
	t.Parallel()
	tests := []struct {
		err    *fault.Error
		name   string
		status int
	}{
		{fault.Otherf("x"), "other", 1}, {fault.Usagef("x"), "usage", 2}, {fault.NotFoundf("x"), "not_found", 3}, {fault.Ambiguousf("x"), "ambiguous", 3},
		{fault.Invalidf("x"), "invalid", 4}, {fault.Conflictf("x"), "conflict", 4}, {fault.TooNewf("x"), "too_new", 4}, {fault.Busyf("x"), "busy", 5}, {fault.Corruptf("x"), "corrupt", 6},
	}
	for _, tt := range tests {
		if got := tt.err.Kind.String(); got != tt.name {
			t.Errorf("kind %d: String = %q, want %q", tt.err.Kind, got, tt.name)
		}
		if got := tt.err.Kind.ExitStatus(); got != tt.status {
			t.Errorf("%s: ExitStatus = %d, want %d", tt.name, got, tt.status)
		}
	}
	for _, k := range []fault.Kind{-1, 99} {
		if k.String() != "other" || k.ExitStatus() != 1 {
			t.Errorf("kind %d: %q, status %d, want other and 1", int(k), k, k.ExitStatus())
		}
	}
}

func TestHintAndKindAreFoundThroughWrapping(t *testing.T) {
	t.Parallel()
	cause := errors.New("no space")
	base := fault.Invalidf("bad %s", "lens")
	hinted := base.WithHint("type %d", 7).Because(cause)
	outer := fmt.Errorf("add lens: %w", fault.NotFoundf("no camera").Because(hinted))

	if base.Hint != "" || base.Err != nil {
		t.Errorf("WithHint or Because changed the original: %+v", base)
	}
	if got := hinted.Error(); got != "bad lens: no space" {
		t.Errorf("Error = %q, want the message and its cause", got)
	}
	if got := fault.HintOf(outer); got != "type 7" {
		t.Errorf("HintOf = %q, want the first hint in the chain", got)
	}
	if got := fault.KindOf(outer); got != fault.NotFound {
		t.Errorf("KindOf = %v, want that of the outermost fault", got)
	}
	if !errors.Is(outer, cause) {
		t.Error("the cause is lost")
	}
	if fault.HintOf(cause) != "" || fault.HintOf(nil) != "" || fault.KindOf(cause) != fault.Other {
		t.Error("an error of another type has a hint or a kind")
	}
}
