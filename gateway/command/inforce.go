package command

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"strings"

	"millwarden/gateway/web"
	"millwarden/rules/check"
)

// rulesInForce are those of the file that was named; without one those that the running gateway goes by, and where none answers those of the usual file.
func rulesInForce(ctx context.Context, std IO, g gateway, file string) (*check.Plan, error) {
	if file != "" {
		return goodRules(std, file)
	}
	var held web.Rules
	if unasked := g.get(ctx, "/api/rules", &held); unasked != nil {
		plan, err := goodRules(std, defaultRules)
		if errors.Is(err, errNoRules) {
			err = fmt.Errorf("%w, and no gateway that tells its own: %w. Name a file with --rules", err, unasked)
		}
		return plan, err
	}
	words, err := vocabulary()
	if err != nil {
		return nil, err
	}
	folder := texts{nowhere{}, map[string]string{}}
	for _, f := range held.Files {
		folder.by[f.Name] = f.Text
	}
	main := held.Files[0].Name
	l, err := loadFrom(folder, main, words)
	if err != nil {
		return nil, err
	}
	return l.good(std, main)
}

// texts is a folder in which some files have texts that lie in memory: changed ones, which are checked before they are written, or a gateway's own.
type texts struct {
	fs.FS
	by map[string]string
}

// Open gives a file of those, or one of the folder.
func (t texts) Open(name string) (fs.File, error) {
	if text, is := t.by[name]; is {
		return whole{Reader: strings.NewReader(text)}, nil
	}
	return t.FS.Open(name)
}

// nowhere is a folder without files.
type nowhere struct{}

// Open finds nothing.
func (nowhere) Open(name string) (fs.File, error) {
	return nil, &fs.PathError{Op: "open", Path: name, Err: fs.ErrNotExist}
}

// whole is a text as a file that is open.
type whole struct {
	*strings.Reader
	fs.FileInfo // nobody asks for more than the size
}

// Stat gives its size.
func (w whole) Stat() (fs.FileInfo, error) { return w, nil }

// Size is that of the text.
func (w whole) Size() int64 { return w.Reader.Size() }

// Close does nothing.
func (w whole) Close() error { return nil }
