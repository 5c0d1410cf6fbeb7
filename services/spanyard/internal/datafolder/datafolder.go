// Package datafolder owns the folder in which the all-in-one program keeps its
// ledgers. A folder of ours carries a marker file; nothing is written into, or
// deleted from, a folder that holds other things and no marker.
package datafolder

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"

	"github.com/gofrs/flock"

	"spanyard.example/services/kit/fault"
)

const (
	markerName = "spanyard-data"
	marker     = "This folder holds the ledgers of a spanyard program. Back it up as a whole, with the program stopped.\n"
	// lockName is the lock that the embedded NATS server takes on a folder.
	lockName = "spanyard.lock"
	// storeName is where the embedded NATS server keeps its store.
	storeName = "nats"
)

// Default returns the folder used when none is named: spanyard under
// XDG_DATA_HOME, or under .local/share in the home folder.
func Default() (string, error) {
	if base := os.Getenv("XDG_DATA_HOME"); filepath.IsAbs(base) {
		return filepath.Join(base, "spanyard"), nil
	}
	home, err := os.UserHomeDir()
	if err != nil {
		return "", fault.New(fault.Invalid, "DATA_FOLDER_MISSING", "There is no home folder to keep data in; name a folder with --data.").Because(err)
	}
	return filepath.Join(home, ".local", "share", "spanyard"), nil
}

// Open makes the folder and marks it as ours. A folder that holds other
// things is refused.
func Open(dir string) error {
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return unusable(dir, err)
	}
	ours, err := isOurs(dir)
	if err != nil || ours {
		return err
	}
	entries, err := os.ReadDir(dir)
	if err != nil {
		return unusable(dir, err)
	}
	for _, e := range entries {
		// A start that was cut off before the marker was written leaves the lock.
		if e.Name() != lockName {
			return fault.New(fault.Refused, "DATA_FOLDER_FOREIGN", "The folder %s holds other things, for instance %s, and no data of this program. Choose an empty or new folder.", dir, e.Name())
		}
	}
	if err := os.WriteFile(filepath.Join(dir, markerName), []byte(marker), 0o600); err != nil {
		return unusable(dir, err)
	}
	return nil
}

// Clear deletes the data in a folder of ours, and only what this program put
// there. A folder that is missing or empty is clear already; a folder without
// the marker or in use by a running program is refused.
func Clear(dir string) error {
	entries, err := os.ReadDir(dir)
	if errors.Is(err, fs.ErrNotExist) || (err == nil && len(entries) == 0) {
		return nil
	}
	if err != nil {
		return unusable(dir, err)
	}
	ours, err := isOurs(dir)
	if err != nil {
		return err
	}
	if !ours {
		return fault.New(fault.Refused, "DATA_FOLDER_FOREIGN", "The folder %s is no data folder of this program (it has no file %s in it), so nothing in it is deleted.", dir, markerName)
	}
	lock := flock.New(filepath.Join(dir, lockName))
	locked, err := lock.TryLock()
	if err != nil {
		return unusable(dir, err)
	}
	if !locked {
		return fault.New(fault.Unavailable, "DATA_FOLDER_IN_USE", "The data folder %s is in use by another running program. Stop that one first, or choose another folder.", dir)
	}
	if err := os.RemoveAll(filepath.Join(dir, storeName)); err != nil {
		return errors.Join(unusable(dir, err), lock.Unlock())
	}
	if err := lock.Unlock(); err != nil {
		return unusable(dir, err)
	}
	return nil
}

func isOurs(dir string) (bool, error) {
	info, err := os.Lstat(filepath.Join(dir, markerName))
	if errors.Is(err, fs.ErrNotExist) {
		return false, nil
	}
	if err != nil {
		return false, unusable(dir, err)
	}
	return info.Mode().IsRegular(), nil
}

func unusable(dir string, err error) error {
	return fault.New(fault.Refused, "DATA_FOLDER_UNUSABLE", "The folder %s cannot be used for data: %s.", dir, plain(err)).Because(err)
}

// plain is the system's own word for what went wrong, without the path.
func plain(err error) string {
	var pe *fs.PathError
	if errors.As(err, &pe) {
		return pe.Err.Error()
	}
	return err.Error()
}
