package command

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"millwarden/gateway/callout/push"
	"millwarden/gateway/floor"
	"millwarden/gateway/history"
	"millwarden/gateway/logbook"
	"millwarden/gateway/people"
	"millwarden/internal/database"
	"millwarden/internal/reading"
)

// backup copies history, logbook, logins and push keys, each as it stands at one moment, and reads the copies whole. The gateway may run.
func backup(ctx context.Context, std IO, args []string) (err error) {
	f := flags("backup", std)
	data := f.String("data", defaultData, "folder of history and logbook")
	words, err := parse(f, args)
	if err != nil {
		return err
	}
	if len(words) != 1 {
		return fmt.Errorf("%w: name one new folder for the backup", errUse)
	}
	target := filepath.Clean(words[0])
	if _, err := os.Lstat(target); err == nil {
		return fmt.Errorf("%s is there already: nothing was written; name a new folder", target)
	}
	// Under another name until it is whole: one that broke off is never taken for a backup.
	part, err := os.MkdirTemp(filepath.Dir(target), filepath.Base(target)+".part-*")
	if err != nil {
		return fmt.Errorf("making the backup's folder: %w", database.Explain(err))
	}
	defer func() { err = errors.Join(err, os.RemoveAll(part)) }()
	if err := copyData(ctx, *data, part); err != nil {
		return err
	}
	found, err := verifyCopy(ctx, part)
	if err != nil {
		return fmt.Errorf("reading the backup again: %w", err)
	}
	if err := os.Rename(part, target); err != nil {
		return fmt.Errorf("naming the backup: %w", err)
	}
	if err := database.SyncFolder(filepath.Dir(target)); err != nil {
		return err
	}
	fmt.Fprintf(std.Out, "%s holds %s\nThe rules file and the credentials are not in it: keep them too.\n", target, found)
	if err := warnOpen(std, target); err != nil {
		return err
	}
	if err := noteBackup(*data); err != nil {
		fmt.Fprintf(std.Err, "the logbook does not know of it, so the page goes on asking for a backup: %v\n", err)
	}
	return found.tell(std)
}

// noteBackup writes into the record that a backup was taken: it is asked for when the last is too long ago.
func noteBackup(data string) error {
	l, err := logbook.Open(data)
	if err != nil {
		return err
	}
	_, err = l.Write(logbook.Entry{At: reading.Stamp{Wall: time.Now()}, Kind: logbook.Act, Place: floor.BackupPlace, Text: "a backup was taken, and read again whole"})
	return errors.Join(err, l.Close())
}

// restore puts a backup in place of history, logbook, logins and push keys. The gateway must not run.
func restore(ctx context.Context, std IO, args []string) (err error) {
	f := flags("restore", std)
	data := f.String("data", defaultData, "folder of history and logbook")
	replace := f.Bool("replace", false, "set aside, under another name, what the folder holds")
	words, err := parse(f, args)
	if err != nil {
		return err
	}
	if len(words) != 1 {
		return fmt.Errorf("%w: name the folder of one backup", errUse)
	}
	if from := words[0]; !history.Exists(from) || !logbook.Exists(from) {
		return fmt.Errorf("%s is no backup: it should hold %s and %s", from, historyFile, logbookFile)
	}
	lock, err := database.Hold(*data)
	if errors.Is(err, database.ErrInUse) {
		return fmt.Errorf("a gateway runs on %s: stop it first; nothing was changed: %w", *data, err)
	}
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, database.HandOver(*data), lock.Release()) }()
	if !*replace && (history.Exists(*data) || logbook.Exists(*data) || people.Exists(*data) || push.Exists(*data)) {
		return fmt.Errorf("%s holds a history, a logbook, logins or a push key already: nothing was changed; --replace sets them aside under another name first", *data)
	}
	staged, err := os.MkdirTemp(*data, "restoring-*")
	if err != nil {
		return fmt.Errorf("making room for the backup: %w", database.Explain(err))
	}
	defer func() { err = errors.Join(err, os.RemoveAll(staged)) }()
	if err := copyData(ctx, words[0], staged); err != nil {
		return fmt.Errorf("nothing was changed: %w", err)
	}
	found, err := verify(ctx, staged)
	if err != nil {
		return fmt.Errorf("nothing was changed: reading the backup: %w", err)
	}
	if err := putInPlace(std, *data, staged); err != nil {
		return err
	}
	fmt.Fprintf(std.Out, "%s holds %s\n", *data, found)
	if found.logins > 0 {
		fmt.Fprintln(std.Out, "Who could log in then can again, with the password of then: look under \"Who may log in\". Everybody is logged out.")
	}
	return found.tell(std)
}

// putInPlace takes over what the backup holds; logins and push keys that an older backup lacks stay as they are. The logins first: should the rest
// break off, nobody finds a page that asks for a first owner.
func putInPlace(std IO, data, staged string) error {
	for _, part := range []struct {
		there   func(dir string) bool
		replace func(dir, staged string) (string, error)
	}{{people.Exists, people.Replace}, {push.Exists, push.Replace}, {history.Exists, history.Replace}, {logbook.Exists, logbook.Replace}} {
		if !part.there(staged) {
			continue
		}
		old, err := part.replace(data, staged)
		if old != "" {
			fmt.Fprintf(std.Out, "what was there is kept as %s\n", old)
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// warnOpen says so where the backup holds secrets and its file system does not keep them from others, as that of most sticks.
func warnOpen(std IO, target string) error {
	entries, err := os.ReadDir(target)
	if err != nil {
		return err
	}
	for _, e := range entries {
		private, err := database.Private(filepath.Join(target, e.Name()))
		if err != nil {
			return err
		}
		if !private {
			fmt.Fprintf(std.Err, "NOTICE: %s cannot keep files from others, and the backup holds hashes of passwords, the key for push messages and the telephones' addresses. Keep it locked up.\n", target)
			return nil
		}
	}
	return nil
}

// copyData copies a data folder that may be in use, or a backup. The logbook first: the history may then know a little more
// than the record, never less than what the record speaks of.
func copyData(ctx context.Context, from, to string) error {
	if !history.Exists(from) {
		return fmt.Errorf("%s is no data folder: it has no %s", from, historyFile)
	}
	if err := logbook.CopyTo(ctx, from, to); err != nil {
		return copyFault(err)
	}
	if err := history.CopyTo(ctx, from, to); err != nil {
		return copyFault(err)
	}
	if people.Exists(from) {
		if err := people.CopyTo(ctx, from, to); err != nil {
			return fmt.Errorf("the logins cannot be copied: %w", err)
		}
	}
	return push.CopyTo(from, to)
}

func copyFault(err error) error {
	switch {
	case errors.Is(err, database.ErrDamaged):
		return fmt.Errorf("the file cannot be read whole; the gateway sets it aside and begins a new one when it starts next: %w", err)
	case errors.Is(err, database.ErrFull):
		return fmt.Errorf("the copy found no room; what was begun is removed: %w", err)
	}
	return err
}

// found is what a copy holds.
type found struct {
	history    history.Verified
	head       logbook.Head
	broken     *logbook.Broken
	logins     int
	telephones int // that take push messages
}

func (f *found) String() string {
	newest := "none of a set clock"
	if !f.history.Newest.IsZero() {
		newest = "the newest of " + f.history.Newest.UTC().Format(time.RFC3339)
	}
	return fmt.Sprintf("%d readings (%s), %d entries of the record (head %d:%x), logins: %d, telephones for push messages: %d; all were read again.",
		f.history.Readings, newest, f.head.ID, f.head.ID, f.head.Seal, f.logins, f.telephones)
}

// tell says what was wrong already in what was copied.
func (f *found) tell(std IO) error {
	var wrong error
	if f.history.Damaged > 0 {
		fmt.Fprintf(std.Err, "%d readings cannot be read any more, here as where they come from\n", f.history.Damaged)
		wrong = errFaults
	}
	if f.broken != nil {
		fmt.Fprintf(std.Err, "entry %d of the record was changed after it was written, here as where it comes from: %s\n", f.broken.ID, f.broken.Because)
		wrong = errFaults
	}
	return wrong
}

// verifyCopy verifies a backup by a copy of it beside, because to open a file is to change it.
func verifyCopy(ctx context.Context, dir string) (_ *found, err error) {
	scratch, err := os.MkdirTemp(filepath.Dir(dir), filepath.Base(dir)+".verify-*")
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, os.RemoveAll(scratch)) }()
	if err := copyData(ctx, dir, scratch); err != nil {
		return nil, err
	}
	return verify(ctx, scratch)
}

// verify reads all of a folder that is ours: every checksum of the history, every seal of the record, the logins and the push keys.
func verify(ctx context.Context, dir string) (_ *found, err error) {
	h, err := history.Open(dir, history.Options{})
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, h.Close()) }()
	if aside := h.Aside(); aside != nil {
		return nil, aside
	}
	f := &found{}
	if f.history, err = h.Verify(ctx); err != nil {
		return nil, err
	}
	book, err := logbook.Open(dir)
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, book.Close()) }()
	if aside := book.Aside(); aside != nil {
		return nil, aside
	}
	if f.head, err = book.Verify(ctx); errors.As(err, &f.broken) {
		err = nil
	}
	if err == nil && people.Exists(dir) {
		f.logins, err = people.Verify(ctx, dir)
	}
	if err == nil && push.Exists(dir) {
		f.telephones, err = push.Verify(dir)
	}
	return f, err
}
