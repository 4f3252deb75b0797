package syntax

import (
	"strings"
	"sync"
)

// piece is a stretch of a text that is read by itself: it begins with a header, so nothing before it decides how it is read.
type piece struct {
	start, end int // bytes
	number     int // of its first line
}

// leastPiece is worth a goroutine. Chosen: a built-in subject is read in one.
const leastPiece = 32 << 10

// cut divides a text into at most n pieces of about one size.
func cut(text string, n int) []piece {
	n = max(1, min(n, len(text)/leastPiece))
	all := []piece{{end: len(text), number: 1}}
	for i := 1; i < n; i++ {
		last := &all[len(all)-1]
		at := nextHeader(text, max(last.start+1, len(text)/n*i))
		if at == len(text) {
			break
		}
		last.end = at
		all = append(all, piece{start: at, end: len(text), number: last.number + strings.Count(text[last.start:at], "\n")})
	}
	return all
}

// nextHeader is where the next line begins that has the word of a block at its left margin; the text's end if none does.
func nextHeader(text string, from int) int {
	for at := from; ; {
		end := strings.IndexByte(text[at:], '\n')
		if end < 0 {
			return len(text)
		}
		at += end + 1
		line, _, _ := strings.Cut(text[at:], "\n")
		if word, _, _ := strings.Cut(line, " "); factsOf(word) != nil {
			return at
		}
	}
}

// readPieces reads the pieces side by side and joins what came of them, in their order.
func (p *parser) readPieces(pieces []piece, declared Declared) {
	parts := make([]parser, len(pieces))
	var reading sync.WaitGroup
	for i := range parts {
		parts[i] = parser{file: &File{Name: p.file.Name, Text: p.file.Text}, whole: p.whole}
		if i > 0 {
			reading.Go(func() { parts[i].read(pieces[i], declared) })
		}
	}
	parts[0].read(pieces[0], declared)
	reading.Wait()
	for _, part := range parts {
		p.file.Blocks = append(p.file.Blocks, part.file.Blocks...)
		p.file.Comments = append(p.file.Comments, part.file.Comments...)
		p.list = append(p.list, part.list...)
	}
}
