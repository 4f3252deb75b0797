package wire

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"time"

	"millwarden/internal/reading"
	"millwarden/internal/units"
)

// Pack is a decoded pack. Decode fills it again and again, with little new memory.
type Pack struct {
	Header
	Site, Board string
	Readings    []reading.Reading // Point is the full name: Split takes it apart
}

// Decoder reads packs of any board.
type Decoder struct {
	records []reading.Record
}

// ErrPack says that what came is no pack: sending it again will not help.
var ErrPack = errors.New("not a pack")

func refuse(format string, args ...any) error {
	return fmt.Errorf("%w: "+format, append([]any{ErrPack}, args...)...)
}

// mostRecords of a pack: each reading may need its quantity and its quality beside its value.
const mostRecords = headerRecords + 3*Most

// Decode reads a pack into p. After an error p holds nothing of use.
func (d *Decoder) Decode(data []byte, p *Pack) error {
	// Nothing in a pack counts from now: the time given serves only the header's records, which have none.
	records, err := reading.DecodeSenML(data, time.Unix(1<<28, 0), d.records[:0])
	d.records = records
	switch {
	case err != nil:
		return refuse("%w", err)
	case len(records) < headerRecords:
		return refuse("%d records, the header alone has %d", len(records), headerRecords)
	case len(records) > mostRecords:
		return refuse("%d records, %d readings have at most %d", len(records), Most, mostRecords)
	}
	if err := p.header(records[:headerRecords]); err != nil {
		return err
	}
	if p.Readings, err = reading.ReadingsOf(records[headerRecords:], nil, p.Readings[:0]); err != nil {
		return refuse("%w", err)
	}
	for i := range p.Readings {
		if site, _, _, ok := Split(p.Readings[i].Point); !ok || site != p.Site {
			return refuse("%s is no point of %s", p.Readings[i].Point, p.Site)
		}
	}
	return p.check()
}

// DecodeLatest reads what stands at the topic of the newest reading of a point; its name is the full one. due is what the point measures: the unit alone
// does not always tell.
func DecodeLatest(data []byte, due units.Quantity) (reading.Reading, error) {
	records, err := reading.DecodeSenML(data, time.Unix(1<<28, 0), nil)
	if err != nil {
		return reading.Reading{}, err
	}
	rs, err := reading.ReadingsOf(records, func(string) (units.Quantity, bool) { return due, true }, nil)
	if err == nil && len(rs) != 1 {
		err = fmt.Errorf("%d readings where one is due", len(rs))
	}
	if err != nil {
		return reading.Reading{}, err
	}
	return rs[0], nil
}

func (p *Pack) check() error {
	if p.From == 0 || p.To < p.From || len(p.Readings) > Most || uint64(len(p.Readings)) > p.To-p.From+1 || p.Watermark >= p.From || p.Stored < p.Watermark {
		return refuse("from %d to %d with %d readings, watermark %d, stored %d do not fit together", p.From, p.To, len(p.Readings), p.Watermark, p.Stored)
	}
	return nil
}

func (p *Pack) header(records []reading.Record) error {
	prefix, ok := strings.CutSuffix(records[0].Name, streamName)
	site, board, slash := strings.Cut(prefix, "/")
	if !ok || !slash || site == "" || board == "" || strings.Contains(board, "/") {
		return refuse("it begins with %s, not with its header", records[0].Name)
	}
	for i, end := range [headerRecords]string{streamName, fromName, toName, watermarkName, storedName, bootName} {
		r := &records[i]
		if rest, ok := strings.CutPrefix(r.Name, prefix); !ok || rest != end {
			return refuse("%s stands where %s%s is due", r.Name, prefix, end)
		}
		text := end == streamName || end == bootName
		if r.HasSum || text != (r.Content == reading.Text) || !text && !isPosition(r) {
			return refuse("%s is of the wrong kind", r.Name)
		}
	}
	p.Site, p.Board = site, board
	p.Header = Header{Stream: records[0].Text, From: uint64(records[1].Value), To: uint64(records[2].Value),
		Watermark: uint64(records[3].Value), Stored: uint64(records[4].Value), Boot: records[5].Text}
	if p.Stream == "" {
		return refuse("its stream has no name")
	}
	return nil
}

// isPosition: a whole number that a double holds exactly.
func isPosition(r *reading.Record) bool {
	return r.Content == reading.Number && r.Value >= 0 && r.Value < 1<<53 && r.Value == math.Trunc(r.Value)
}

// Split takes a full name apart: SITE/AREA/STATION/POINT; point is STATION/POINT.
func Split(full string) (site, area, point string, ok bool) {
	site, rest, _ := strings.Cut(full, "/")
	area, point, _ = strings.Cut(rest, "/")
	station, last, _ := strings.Cut(point, "/")
	return site, area, point, site != "" && area != "" && station != "" && last != ""
}
