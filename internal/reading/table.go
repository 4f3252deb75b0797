package reading

import (
	"bufio"
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"
)

// ErrRow is wrapped by every error about a row of a file: the person who wrote the file can repair it.
var ErrRow = errors.New("csv")

// linesBuffer is how much of a file is read at once. chosen: a thousand rows; longer lines are read too.
const linesBuffer = 64 << 10

// table reads rows of one fixed header and says in which line what is wrong. Rows without a quote, nearly all, are parted here; encoding/csv reads the others.
type table struct {
	lines    *bufio.Reader
	text     string // lines that were read together and are not yet given; the last of the file may have no end
	read     int    // lines
	row      []string
	header   []string
	line     int // of the row
	lastTime string
	last     Stamp
}

// openTable reads the header. A byte order mark, as spreadsheets write it, is passed over.
func openTable(from io.Reader, header []string) (*table, error) {
	t := &table{lines: bufio.NewReaderSize(from, linesBuffer), header: header}
	if start, _ := t.lines.Peek(3); bytes.Equal(start, []byte("\xEF\xBB\xBF")) {
		_, _ = t.lines.Discard(3)
	}
	row, err := t.nextRow()
	want := strings.Join(header, ",")
	switch {
	case errors.Is(err, io.EOF):
		return nil, t.wrong("the file is empty; it begins with the line %s", want)
	case err != nil:
		return nil, t.broken(err)
	case len(row) == 1 && strings.Contains(row[0], ";"):
		return nil, t.wrong("the columns are parted by semicolons; part them by commas: %s", want)
	case !slices.Equal(row, header):
		return nil, t.wrong("the first line is %q; write %s", strings.Join(row, ","), want)
	}
	return t, nil
}

func (t *table) wrong(format string, args ...any) error {
	line := max(t.line, 1)
	return fmt.Errorf("%w: line %d: "+format, append([]any{ErrRow, line}, args...)...)
}

// broken turns an error of the CSV syntax into one that says what to do.
func (t *table) broken(err error) error {
	var syntax *csv.ParseError
	if !errors.As(err, &syntax) {
		return fmt.Errorf("csv: %w", err)
	}
	t.line += syntax.Line - 1 // it counts from the row's first line
	return t.wrong(`%w; a field with a comma or a quote stands in quotes, and a quote inside is doubled: "say ""dry"""`, syntax.Err)
}

// next reads one row; io.EOF at the end.
func (t *table) next() ([]string, error) {
	row, err := t.nextRow()
	if errors.Is(err, io.EOF) {
		return nil, err
	}
	if err != nil {
		return nil, t.broken(err)
	}
	if len(row) != len(t.header) {
		return nil, t.wrong("%d columns where %d are due: %s", len(row), len(t.header), strings.Join(t.header, ","))
	}
	return row, nil
}

// nextRow parts the next line that is not empty. The row is good until the next call, its fields are for ever; who keeps one clones it, else all lines
// that were read with it are kept.
func (t *table) nextRow() ([]string, error) {
	for {
		line, err := t.nextLine()
		if err != nil {
			return nil, err
		}
		if len(line) == 0 {
			continue
		}
		t.line = t.read
		if strings.IndexByte(line, '"') >= 0 {
			return csv.NewReader(&rest{table: t, line: ended(line)}).Read()
		}
		t.row = t.row[:0]
		for {
			end := strings.IndexByte(line, ',')
			if end < 0 {
				t.row = append(t.row, line)
				return t.row, nil
			}
			t.row = append(t.row, line[:end])
			line = line[end+1:]
		}
	}
}

// nextLine reads a line without its end.
func (t *table) nextLine() (string, error) {
	if t.text == "" {
		if err := t.fill(); err != nil {
			return "", err
		}
	}
	line, after, _ := strings.Cut(t.text, "\n")
	t.text = after
	t.read++
	return strings.TrimSuffix(line, "\r"), nil
}

// fill takes all whole lines that the buffer holds, so that many rows are one string; where it holds none, the line that begins in it.
func (t *table) fill() error {
	if _, err := t.lines.Peek(1); err != nil {
		return err
	}
	held, _ := t.lines.Peek(t.lines.Buffered())
	if end := bytes.LastIndexByte(held, '\n') + 1; end > 0 {
		t.text = string(held[:end])
		_, err := t.lines.Discard(end)
		return err
	}
	text, err := t.lines.ReadString('\n')
	if err != nil && !errors.Is(err, io.EOF) { // at the end of the file, the last line has none
		return err
	}
	t.text = text
	return nil
}

// rest gives a line, and those after it, one at a time, so that a reader of one row takes no more lines than the row has.
type rest struct {
	table *table
	line  []byte
}

// ended is a line with the end that encoding/csv takes away again, whatever the line ends with.
func ended(line string) []byte { return append([]byte(line), '\r', '\n') }

func (r *rest) Read(into []byte) (int, error) {
	if len(r.line) == 0 {
		line, err := r.table.nextLine()
		if err != nil {
			return 0, err
		}
		r.line = ended(line)
	}
	n := copy(into, r.line)
	r.line = r.line[n:]
	return n, nil
}

// time reads a time; many rows in a row have the same.
func (t *table) time(text string) (Stamp, error) {
	if text == t.lastTime && text != "" {
		return t.last, nil
	}
	at, err := time.Parse(time.RFC3339Nano, text)
	if err != nil {
		return Stamp{}, t.wrong("%q is no time; write for example 2026-03-04T03:12:05Z or 2026-03-04T03:12:05-05:00", text)
	}
	if year := at.UTC().Year(); year < 1970 || year > 2255 {
		return Stamp{}, t.wrong("%q: years go from 1970 to 2255", text)
	}
	t.lastTime, t.last = text, stampOf(at)
	return t.last, nil
}
