package phrase

import (
	"errors"
	"fmt"
	"regexp"
	"strconv"
	"strings"

	"millwarden/internal/units"
)

func lower(s string) string { return strings.ToLower(s) }

func join(parts ...string) string {
	var kept []string
	for _, p := range parts {
		if p != "" {
			kept = append(kept, p)
		}
	}
	return strings.Join(kept, " ")
}

// Parse reads declarations:
//
//	hostbus EXPRESSION SLOT       a bus of the host, without a block
//	bus KIND SLOT                 a kind of bus that has a block
//	part NAME | channel NAME | kind NAME | each WORD
//	    place PATTERN             what follows the part's name
//	    phrase KEY[*] PATTERN     a line; * where it may stand several times
//	    needs KEY|KEY             at least one must stand
//	    one KEY|KEY               exactly one must stand
//	    shares KEY                parts at one place may serve probes that differ in it
//	    reads CHANNEL QUANTITY|any|ends [LOW .. HIGH] [with KEY] [aside], reads each KEY
//	    measured POINT QUANTITY [LOW .. HIGH]
//	    computed POINT QUANTITY from POINTS|-
//	    moment NAMES
//
// A # begins a comment. All faults are reported, joined, each with its line.
func Parse(text string) ([]Declaration, error) {
	var (
		list   []Declaration
		faults []error
	)
	for i, line := range strings.Split(text, "\n") {
		line, _, _ = strings.Cut(line, "#")
		words := strings.Fields(line)
		if len(words) == 0 {
			continue
		}
		var err error
		switch {
		case line[0] != ' ' && line[0] != '\t':
			var d Declaration
			if d, err = parseHead(words); err == nil {
				list = append(list, d)
			}
		case len(list) == 0:
			err = errors.New("a line before any declaration")
		default:
			err = parseLine(&list[len(list)-1], words[0], strings.TrimSpace(strings.TrimPrefix(strings.TrimSpace(line), words[0])))
		}
		if err != nil {
			faults = append(faults, fmt.Errorf("declarations line %d: %s: %w", i+1, strings.TrimSpace(line), err))
		}
	}
	return list, errors.Join(faults...)
}

func parseHead(words []string) (Declaration, error) {
	for class, word := range classWords {
		if words[0] != word {
			continue
		}
		d := Declaration{Class: Class(class)}
		want := 2
		if d.Class == HostBus || d.Class == Bus {
			want = 3
		}
		if len(words) != want {
			return d, fmt.Errorf("%s takes %d words", word, want-1)
		}
		d.Name = words[1]
		if want == 3 {
			d.Word = words[2]
		}
		if d.Class == HostBus {
			if _, err := regexp.Compile(d.Name); err != nil {
				return d, err
			}
		}
		return d, nil
	}
	return Declaration{}, fmt.Errorf("begins with none of %s", strings.Join(classWords[:], ", "))
}

func parseLine(d *Declaration, word, rest string) error {
	switch word {
	case "place":
		pattern, err := ParsePattern(rest)
		d.Place = pattern
		return err
	case "phrase":
		return parsePhrase(d, rest)
	case "needs":
		d.Needs = append(d.Needs, strings.Split(rest, "|"))
		return known(d, strings.Split(rest, "|"))
	case "one":
		d.One = append(d.One, strings.Split(rest, "|"))
		return known(d, strings.Split(rest, "|"))
	case "shares":
		d.Shares = append(d.Shares, strings.Fields(rest)...)
		return known(d, strings.Fields(rest))
	case "reads":
		r, err := parseRead(d, strings.Fields(rest))
		d.Reads = append(d.Reads, r)
		return err
	case "measured", "computed":
		p, err := parsePoint(strings.Fields(rest), word == "computed")
		d.Points = append(d.Points, p)
		return err
	case "moment":
		d.Moments = append(d.Moments, strings.Fields(rest)...)
		return nil
	}
	return fmt.Errorf("%q is no line of a declaration", word)
}

func known(d *Declaration, keys []string) error {
	for _, key := range keys {
		if _, ok := d.Phrase(key); !ok {
			return fmt.Errorf("no phrase %q stands before it", key)
		}
	}
	return nil
}

func parsePhrase(d *Declaration, rest string) error {
	key, pattern, _ := strings.Cut(rest, " ")
	p := Phrase{Key: strings.TrimSuffix(key, "*"), Many: strings.HasSuffix(key, "*")}
	if p.Key == "" {
		return errors.New("a phrase begins with its key")
	}
	if _, twice := d.Phrase(p.Key); twice {
		return fmt.Errorf("phrase %q stands twice", p.Key)
	}
	var err error
	p.Pattern, err = ParsePattern(pattern)
	d.Phrases = append(d.Phrases, p)
	return err
}

func parseRead(d *Declaration, words []string) (Read, error) {
	if len(words) < 2 {
		return Read{}, errors.New("reads takes a channel and a quantity")
	}
	if words[0] == "each" {
		return Read{Each: words[1]}, known(d, words[1:2])
	}
	r := Read{Channel: words[0]}
	rest := words[2:]
	switch words[1] {
	case "any":
		r.Any = true
	case "ends":
		if len(rest) < 2 || rest[0] != "with" {
			return r, errors.New("ends needs: with KEY")
		}
		r.Ends = rest[1]
	default:
		q, ok := units.ByName(words[1])
		if !ok {
			return r, fmt.Errorf("%q is no quantity", words[1])
		}
		r.Quantity = q
	}
	var err error
	if r.Bounded, r.Low, r.High, rest, err = bounds(rest); err != nil {
		return r, err
	}
	for ; len(rest) > 0; rest = rest[1:] {
		switch {
		case rest[0] == "aside":
			r.Aside = true
		case rest[0] == "with" && len(rest) > 1:
			r.With = rest[1]
			if err := known(d, rest[1:2]); err != nil {
				return r, err
			}
			rest = rest[1:]
		default:
			return r, fmt.Errorf("%q does not belong here", rest[0])
		}
	}
	return r, nil
}

func parsePoint(words []string, computed bool) (Point, error) {
	if len(words) < 2 {
		return Point{}, errors.New("a point takes a name and a quantity")
	}
	p := Point{Name: words[0], Computed: computed, Any: words[1] == "any"}
	q, ok := units.ByName(words[1])
	if !ok && !p.Any {
		return p, fmt.Errorf("%q is no quantity", words[1])
	}
	p.Quantity = q
	rest := words[2:]
	if !computed {
		var err error
		if p.Bounded, p.Low, p.High, rest, err = bounds(rest); err != nil {
			return p, err
		}
		if len(rest) > 0 {
			return p, fmt.Errorf("%q does not belong here", rest[0])
		}
		return p, nil
	}
	if len(rest) < 2 || rest[0] != "from" {
		return p, errors.New("a computed point needs: from POINTS, or from -")
	}
	if rest[1] != "-" {
		p.From = rest[1:]
	}
	return p, nil
}

// bounds reads "LOW .. HIGH" in base units, if it stands there.
func bounds(words []string) (bool, float64, float64, []string, error) {
	if len(words) < 3 || words[1] != ".." {
		return false, 0, 0, words, nil
	}
	low, err1 := units.ParseNumber(words[0])
	high, err2 := units.ParseNumber(words[2])
	if err := errors.Join(err1, err2); err != nil {
		return false, 0, 0, nil, err
	}
	if low > high {
		return false, 0, 0, nil, fmt.Errorf("%s .. %s runs backwards", words[0], words[2])
	}
	return true, low, high, words[3:], nil
}

// number reads 12, 0.5 or 0x48.
func number(text string) (float64, error) {
	if digits, ok := strings.CutPrefix(text, "0x"); ok {
		n, err := strconv.ParseUint(digits, 16, 32)
		return float64(n), err
	}
	return units.ParseNumber(text)
}
