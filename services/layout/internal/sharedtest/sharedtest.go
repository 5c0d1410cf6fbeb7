// Package sharedtest finds public instances that tests measure themselves
// against. They are not part of the repository: they lie in ../shared beside
// it, where there is such a folder.
package sharedtest

import (
	"os"
	"path/filepath"
	"testing"
)

// Dir returns a folder of ../shared. Where it is missing the test ends there
// and says so.
func Dir(t testing.TB, parts ...string) string {
	t.Helper()
	for dir, err := os.Getwd(); err == nil; dir = filepath.Dir(dir) {
		if _, err := os.Stat(filepath.Join(dir, "go.work")); err == nil {
			found := filepath.Join(append([]string{filepath.Dir(dir), "shared"}, parts...)...)
			if _, err := os.Stat(found); err == nil {
				return found
			}
			break
		}
		if dir == filepath.Dir(dir) {
			break
		}
	}
	t.Skipf("../shared/%s is not beside the repository: the public instances are not tried here", filepath.Join(parts...))
	return ""
}
