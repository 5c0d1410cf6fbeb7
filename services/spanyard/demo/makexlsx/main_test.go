package main

import (
	"bytes"
	"os"
	"path/filepath"
	"testing"
)

// TestWorkbookIsFresh: the demo's workbook is what its source makes.
func TestWorkbookIsFresh(t *testing.T) {
	made := filepath.Join(t.TempDir(), "made.xlsx")
	if err := convert(filepath.Join("..", "source", "tanglewick-mill.csv"), made); err != nil {
		t.Fatal(err)
	}
	got, err := os.ReadFile(made)
	if err != nil {
		t.Fatal(err)
	}
	want, err := os.ReadFile(filepath.Join("..", "tanglewick-mill.xlsx"))
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(got, want) {
		t.Error("tanglewick-mill.xlsx is older than its source; run go generate in services/spanyard/demo")
	}
}

func TestValue(t *testing.T) {
	for text, want := range map[string]any{"01": "01", "0.5": 0.5, "0": "0", "3390": 3390.0, "T150": "T150", "": ""} {
		if got := value(text); got != want {
			t.Errorf("%q: got %v (%T), want %v", text, got, got, want)
		}
	}
}
