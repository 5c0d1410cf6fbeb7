package datafolder_test

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/gofrs/flock"

	"spanyard.example/services/kit/fault"
	"spanyard.example/services/spanyard/internal/datafolder"
)

func write(t *testing.T, path string) {
	t.Helper()
	if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, []byte("x"), 0o600); err != nil {
		t.Fatal(err)
	}
}

func exists(path string) bool {
	_, err := os.Stat(path)
	return err == nil
}

func TestOpenMakesAndFindsAFolder(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "a", "b")
	for range 2 {
		if err := datafolder.Open(dir); err != nil {
			t.Fatal(err)
		}
	}
}

func TestOpenRefusesAForeignFolder(t *testing.T) {
	dir := t.TempDir()
	write(t, filepath.Join(dir, "letters.txt"))
	if err := datafolder.Open(dir); fault.ReasonOf(err) != "DATA_FOLDER_FOREIGN" {
		t.Errorf("got %v", err)
	}
	file := filepath.Join(dir, "letters.txt")
	if err := datafolder.Open(file); fault.ReasonOf(err) != "DATA_FOLDER_UNUSABLE" {
		t.Errorf("a file: got %v", err)
	}
}

func TestClearDeletesOnlyOurs(t *testing.T) {
	dir := t.TempDir()
	if err := datafolder.Open(dir); err != nil {
		t.Fatal(err)
	}
	store, other := filepath.Join(dir, "nats", "jetstream", "x"), filepath.Join(dir, "notes.txt")
	write(t, store)
	write(t, other)
	if err := datafolder.Clear(dir); err != nil {
		t.Fatal(err)
	}
	if exists(store) || !exists(other) {
		t.Errorf("store there: %v, other file there: %v", exists(store), exists(other))
	}
	if err := datafolder.Open(dir); err != nil {
		t.Errorf("after Clear: %v", err)
	}
}

func TestClearRefuses(t *testing.T) {
	foreign := t.TempDir()
	write(t, filepath.Join(foreign, "nats", "x"))
	if err := datafolder.Clear(foreign); fault.ReasonOf(err) != "DATA_FOLDER_FOREIGN" || !exists(filepath.Join(foreign, "nats", "x")) {
		t.Errorf("a foreign folder: got %v", err)
	}
	used := t.TempDir()
	if err := datafolder.Open(used); err != nil {
		t.Fatal(err)
	}
	write(t, filepath.Join(used, "nats", "x"))
	lock := flock.New(filepath.Join(used, "spanyard.lock"))
	if ok, err := lock.TryLock(); !ok || err != nil {
		t.Fatal(ok, err)
	}
	t.Cleanup(func() {
		if err := lock.Unlock(); err != nil {
			t.Error(err)
		}
	})
	if err := datafolder.Clear(used); fault.ReasonOf(err) != "DATA_FOLDER_IN_USE" || !exists(filepath.Join(used, "nats", "x")) {
		t.Errorf("a folder in use: got %v", err)
	}
}

func TestClearIsContentWithNothing(t *testing.T) {
	dir := t.TempDir()
	for _, d := range []string{dir, filepath.Join(dir, "missing")} {
		if err := datafolder.Clear(d); err != nil {
			t.Errorf("%s: %v", d, err)
		}
	}
}

func TestDefault(t *testing.T) {
	t.Setenv("XDG_DATA_HOME", "/data/home")
	if got, err := datafolder.Default(); err != nil || got != "/data/home/spanyard" {
		t.Errorf("got %q, %v", got, err)
	}
	t.Setenv("XDG_DATA_HOME", "not/absolute")
	t.Setenv("HOME", "/home/pim")
	if got, err := datafolder.Default(); err != nil || got != "/home/pim/.local/share/spanyard" {
		t.Errorf("got %q, %v", got, err)
	}
}
