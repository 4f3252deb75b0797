package check

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"hash"
	"io"
	"io/fs"
	"path"
	"slices"
	"strings"

	"millwarden/internal/diag"
	"millwarden/rules/standard"
	"millwarden/rules/syntax"
)

// Bounds of the text, chosen in the language: a thousand probes fit ten times over, and a reader's memory stays small.
const (
	maxText   = 1 << 20 // bytes, all files together
	maxFiles  = 64
	maxBoards = 256 // files of other boards beside them
	maxDeep   = 8   // include in include
)

// block is a block of the tree and where it comes from.
type block struct {
	*syntax.Block
	subject string // built-in subject; "" for the site's own
	board   string // station of the board whose file it is; "" for this one's
	number  int    // in the order read
}

// ours tells that the block stands in the site's own text.
func (b *block) ours() bool { return b.subject == "" && b.board == "" }

// reader reads the main file and all that it names.
type reader struct {
	c      *checker
	fsys   fs.FS
	dir    string // folder of the main file
	names  []string
	mains  int // of the files, those of this board, the first ones
	boards int // of the files, those of other boards
	size   int
	read   map[string]bool
}

// readMain reads one main file with what it includes.
func (r *reader) readMain(name string) {
	text, err := readText(r.fsys, name)
	if err != nil {
		r.c.list = append(r.c.list, compose("25", diag.Range{Position: diag.Position{File: name, Line: 1, Column: 1}}, facts{"path": name, "why": whyUnread(err)}))
		return
	}
	r.dir = path.Dir(name)
	r.read[name] = true
	r.parse(name, text, "", "", 0)
}

// readText reads a whole file.
func readText(fsys fs.FS, name string) (string, error) {
	f, err := fsys.Open(name)
	if err != nil {
		return "", err
	}
	defer func() { _ = f.Close() }() // read alone: nothing can be lost
	var text strings.Builder         // hands its bytes out without a copy
	if about, err := f.Stat(); err == nil && about.Size() > 0 && about.Size() <= maxText {
		text.Grow(int(about.Size()))
	}
	_, err = io.Copy(&text, f)
	return text.String(), err
}

func whyUnread(err error) string {
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return "There is no such file."
	case errors.Is(err, fs.ErrPermission):
		return "This program may not read it: give it the right to."
	default:
		return "The file or its disk is broken."
	}
}

// parse takes in one text and, for the site's own, what it includes.
func (r *reader) parse(name, text, subject, board string, depth int) *syntax.File {
	r.c.sources[name] = text
	r.names = append(r.names, name)
	r.size += len(text)
	file, list := syntax.ParseDeclared(name, text, r.c.words.declares)
	r.c.list = append(r.c.list, list...)
	r.c.blocks = slices.Grow(r.c.blocks, len(file.Blocks))
	blocks := make([]block, len(file.Blocks)) // one array for all
	for i, b := range file.Blocks {
		if b.Word.Is("include") {
			r.include(b, subject, board, depth)
			continue
		}
		blocks[i] = block{Block: b, subject: subject, board: board}
		r.c.blocks = append(r.c.blocks, &blocks[i])
	}
	return file
}

func (r *reader) include(b *syntax.Block, subject, board string, depth int) {
	if !b.Path.Given() || b.Refused {
		return
	}
	if text, name, ok := r.open(b.Path, depth+1, board != ""); ok {
		r.parse(name, text, subject, board, depth+1)
	}
}

// open reads a file named in the rules, below the main file's folder.
func (r *reader) open(at syntax.Token, depth int, board bool) (text, name string, ok bool) {
	refuse := func(why string) (string, string, bool) {
		r.c.say("25", at.Where(), facts{"path": at.Text(), "why": why})
		return "", "", false
	}
	name = path.Join(r.dir, at.Text())
	below := r.dir == "." || strings.HasPrefix(name, r.dir+"/")
	switch {
	case path.IsAbs(at.Text()) || !below || !fs.ValidPath(name):
		return refuse("It lies outside the folder of the main file. Only files below that folder are read.")
	case r.read[name]:
		return refuse("It is read already: a file is included once.")
	case depth > maxDeep:
		return refuse(fmt.Sprintf("Files include one another at most %d deep, and this is the %dth.", maxDeep, depth))
	case board && r.boards >= maxBoards:
		return refuse(fmt.Sprintf("The files of at most %d boards are read, and this is the %dth.", maxBoards, r.boards+1))
	case !board && len(r.names)-r.boards >= maxFiles:
		return refuse(fmt.Sprintf("At most %d files are read, and this is the %dth.", maxFiles, len(r.names)-r.boards+1))
	}
	content, err := readText(r.fsys, name)
	if err != nil {
		return refuse(whyUnread(err))
	}
	if r.size+len(content) > maxText {
		return refuse(fmt.Sprintf("All files together may hold %d bytes, and with this one they hold %d.", maxText, r.size+len(content)))
	}
	r.read[name] = true
	return content, name, true
}

// readSubjects takes in the built-in subjects that the site's own text uses.
func (r *reader) readSubjects() {
	used := map[string]bool{}
	for _, b := range r.c.blocks {
		if b.Word.Word() != "use" || !b.ours() {
			continue
		}
		for _, token := range b.Names {
			subject := token.Word()
			text, ok := standard.Text(subject)
			switch {
			case !ok:
				r.c.say("22", token.Where(), facts{"what": "subject", "name": subject, "near": near(subject, standard.Subjects()),
					"why": orElse(near(subject, standard.Subjects()), "Subjects: "+strings.Join(standard.Subjects(), ", ")+".")})
			case used[subject]:
				r.c.say("19", token.Where(), facts{"x": subject, "key": "use", "y": "the first " + subject})
			default:
				used[subject] = true
				r.c.plan.Subjects = append(r.c.plan.Subjects, subject)
				r.parse("standard/"+subject+".rules", text, subject, "", 0)
			}
		}
	}
}

// orElse gives text only where first is empty.
func orElse(first, text string) string {
	if first != "" {
		return ""
	}
	return text
}

// readBoards takes in what the files of other boards describe: stations, wiring, probes, points and limits; not whom they call.
func (r *reader) readBoards() {
	site := r.c.siteName()
	for _, b := range r.c.blocks {
		if b.Word.Word() != "station" || b.Kind.Word() != "board" || b.board != "" {
			continue
		}
		for _, line := range b.Find("rules") {
			pieces, ok := line.Value.(*syntax.Pieces)
			if !ok || len(pieces.List) != 1 {
				continue
			}
			r.readBoard(pieces.List[0], b.Name.Word(), site)
		}
	}
}

func (r *reader) readBoard(at syntax.Token, board, site string) {
	text, name, ok := r.open(at, 1, true)
	if !ok {
		return
	}
	before, first := len(r.c.blocks), len(r.names)
	r.parse(name, text, "", board, 1)
	r.boards += len(r.names) - first
	r.c.plan.Boards = append(r.c.plan.Boards, Board{Name: board, Rules: r.rules(r.names[first:])})
	kept := r.c.blocks[:before]
	for _, b := range r.c.blocks[before:] {
		switch b.Word.Word() {
		case "area", "station", "bus", "probe", "point", "limit":
			kept = append(kept, b)
		case "site":
			if other := b.Name.Word(); site != "" && other != site {
				r.c.say("77", at.Where(), facts{"rules": at.Text(), "a": other, "b": site})
			}
		}
	}
	r.c.blocks = kept
}

// sums works out the sums over the texts.
func (r *reader) sums() {
	r.c.plan.Rules = r.rules(r.names[:r.mains])
	r.c.plan.Hash = r.hash()
}

// rules is over texts alone: a hub keeps the file of a board under another name.
func (r *reader) rules(names []string) string {
	h := sha256.New()
	for _, name := range names {
		fmt.Fprintf(h, "%d\n", len(r.c.sources[name]))
		feed(h, r.c.sources[name])
	}
	return hex.EncodeToString(h.Sum(nil))
}

// hash is over the names of all texts and the texts themselves; those of this board are in the plan's Rules already.
func (r *reader) hash() string {
	h := sha256.New()
	feed(h, r.c.plan.Rules)
	for i, name := range r.names {
		fmt.Fprintf(h, "%s\n%d\n", name, len(r.c.sources[name]))
		if i >= r.mains {
			feed(h, r.c.sources[name])
		}
	}
	return hex.EncodeToString(h.Sum(nil))
}

// feed gives a text to a hash, which takes all, without a copy of the whole.
func feed(h hash.Hash, text string) {
	buffer := make([]byte, 8<<10)
	for text != "" {
		n := copy(buffer, text)
		_, _ = h.Write(buffer[:n])
		text = text[n:]
	}
}
