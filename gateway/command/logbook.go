package command

import (
	"bufio"
	"cmp"
	"context"
	"encoding/hex"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"millwarden/gateway/logbook"
)

// showLogbook prints entries of the record, or holds its chain of seals together.
func showLogbook(ctx context.Context, std IO, args []string) (err error) {
	f := flags("logbook", std)
	data := f.String("data", defaultData, "folder of history and logbook")
	verify := f.Bool("verify", false, "reckon all seals again: exit 1 where an entry was changed, put in or taken out")
	printed := f.String("head", "", "with --verify: the number and seal that a printed record shows, NUMBER:SEAL")
	var filter logbook.Filter
	f.StringVar(&filter.Lot, "lot", "", "only entries about this lot")
	f.StringVar(&filter.Place, "place", "", "only of this station, probe, bus or channel")
	f.StringVar(&filter.Alarm, "alarm", "", "only of this alarm, for example over-fermented@tank-1")
	f.IntVar(&filter.Limit, "last", 100, "so many, the newest")
	if words, err := parse(f, args); err != nil {
		return err
	} else if len(words) > 0 {
		return fmt.Errorf("%w: %q is too much here", errUse, words[0])
	}
	if _, err := os.Stat(filepath.Join(*data, logbookFile)); err != nil {
		return fmt.Errorf("%s is no data folder: it has no %s", *data, logbookFile)
	}
	book, err := logbook.Open(*data)
	if err != nil {
		return fmt.Errorf("opening the logbook: %w", err)
	}
	defer func() { err = errors.Join(err, book.Close()) }()
	if *verify {
		return verifyLogbook(ctx, std, book, *printed)
	}
	filter.Newest = true
	entries, err := book.Entries(ctx, filter)
	if err != nil {
		return fmt.Errorf("reading the logbook: %w", err)
	}
	out := bufio.NewWriter(std.Out)
	for i := len(entries) - 1; i >= 0; i-- {
		e := &entries[i]
		at := "clock not set            "
		if e.At.Set {
			at = e.At.Wall.Local().Format("2006-01-02 15:04:05-07:00")
		}
		fmt.Fprintf(out, "%6d  %s  %-11s %s\n", e.ID, at, e.Kind, strings.Join(strings.Fields(cmp.Or(e.Alarm, e.Place)+" "+e.Text+" "+by(e)), " "))
	}
	return out.Flush()
}

func by(e *logbook.Entry) string {
	if e.Who == "" {
		return ""
	}
	return "(" + e.Who + ")"
}

func verifyLogbook(ctx context.Context, std IO, book *logbook.Logbook, printed string) error {
	head, err := book.Verify(ctx)
	var broken *logbook.Broken
	if errors.As(err, &broken) {
		fmt.Fprintf(std.Out, "entry %d was changed after it was written: %s. All %d before it are as they were written.\n", broken.ID, broken.Because, broken.ID-1)
		return errFaults
	}
	if err != nil {
		return err
	}
	fmt.Fprintf(std.Out, "%d entries, each as it was written. Head %d:%x\n", head.ID, head.ID, head.Seal)
	if printed == "" {
		fmt.Fprintln(std.Out, "A record whose seals were all reckoned anew would say the same: compare the head with one that was printed (--head).")
		return nil
	}
	number, text, _ := strings.Cut(printed, ":")
	id, err := strconv.ParseInt(number, 10, 64)
	seal, err2 := hex.DecodeString(text)
	if err != nil || err2 != nil || len(seal) < 8 {
		return fmt.Errorf("%w: --head is NUMBER:SEAL as a record shows it", errUse)
	}
	fits, err := book.Sealed(ctx, id, seal)
	if err != nil {
		return err
	}
	if !fits {
		fmt.Fprintf(std.Out, "The printed head does not fit: entry %d, or one before it, is not the one that stood there then.\n", id)
		return errFaults
	}
	fmt.Fprintf(std.Out, "The printed head fits: all %d entries are those that stood there then.\n", id)
	return nil
}
