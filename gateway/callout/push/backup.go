package push

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"millwarden/internal/database"
)

// CopyTo writes the board's key and the subscriptions of the folder dir into the folder target, for the owner alone (mode 0600): who has both can send
// messages to the telephones. A gateway may go on: it puts each file in place whole. A folder without a key gives nothing.
func CopyTo(dir, target string) error {
	if !Exists(dir) {
		return nil
	}
	for _, name := range []string{keyFile, subscriptionsFile} {
		text, err := os.ReadFile(filepath.Join(dir, name))
		if errors.Is(err, fs.ErrNotExist) {
			continue // nobody has subscribed yet
		}
		if err == nil {
			err = writeSecret(filepath.Join(target, name), text)
		}
		if err != nil {
			return fmt.Errorf("push: copying %s: %w", name, database.Explain(err))
		}
	}
	return database.SyncFolder(target)
}

// Verify reads what CopyTo left, and tells how many telephones take messages by it.
func Verify(dir string) (telephones int, err error) {
	text, err := os.ReadFile(filepath.Join(dir, keyFile))
	if err == nil {
		_, err = parseKey(text)
	}
	if err != nil {
		return 0, fmt.Errorf("push: reading the copied key: %w", err)
	}
	var all []Subscription
	if text, err = os.ReadFile(filepath.Join(dir, subscriptionsFile)); err == nil {
		err = json.Unmarshal(text, &all)
	}
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return 0, fmt.Errorf("push: reading the copied subscriptions: %w", err)
	}
	return len(all), nil
}

// Replace puts key and subscriptions of the folder staged in place of those in dir, both or none, for a subscription is bound to its key. What was
// there is kept under the name it gives; "" where there was nothing. The caller holds dir.
func Replace(dir, staged string) (old string, err error) {
	for _, name := range []string{subscriptionsFile, keyFile} {
		aside, err := database.PutAside(filepath.Join(dir, name), "replaced")
		if aside != "" {
			old = aside
		}
		if err != nil {
			return old, err
		}
		if database.Exists(filepath.Join(staged, name)) {
			if _, err := database.Replace(filepath.Join(dir, name), filepath.Join(staged, name)); err != nil {
				return old, err
			}
		}
	}
	return old, nil
}

// Exists tells whether a folder holds a key.
func Exists(dir string) bool { return database.Exists(filepath.Join(dir, keyFile)) }
