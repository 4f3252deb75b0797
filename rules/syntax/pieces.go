package syntax

import (
	"strings"
	"sync"
)

// piece is a stretch of a text that is read by itself: it begins with a header, so nothing before it decides how it is read.
type piece struct{ from, to int } // lines, counted from 0

// leastPiece is worth a goroutine, in bytes. Chosen: a built-in subject is read in one.
const leastPiece = 32 << 10

// cut divides a file into at most n pieces of about as many lines.
func cut(f *File, n int) []piece {
	n = max(1, min(n, len(f.Text)/leastPiece))
	all := []piece{{to: len(f.lines)}}
	for i := 1; i < n; i++ {
		last := &all[len(all)-1]
		at := f.nextHeader(max(last.from+1, len(f.lines)/n*i))
		if at == len(f.lines) {
			break
		}
		last.to = at
		all = append(all, piece{from: at, to: len(f.lines)})
	}
	return all
}

// nextHeader is the next line that has the word of a block at its left margin; behind the last where none does.
func (f *File) nextHeader(from int) int {
	for n := from; n < len(f.lines); n++ {
		if word, _, _ := strings.Cut(f.line(n), " "); factsOf(word) != nil {
			return n
		}
	}
	return len(f.lines)
}

// readPieces reads the pieces side by side and joins what came of them, in their order.
func (p *parser) readPieces(pieces []piece, declared Declared) {
	parts := make([]parser, len(pieces))
	var reading sync.WaitGroup
	for i := range parts {
		parts[i] = parser{file: p.file, whole: p.whole}
		if i > 0 {
			reading.Go(func() { parts[i].read(pieces[i], declared) })
		}
	}
	parts[0].read(pieces[0], declared)
	reading.Wait()
	for _, part := range parts {
		p.blocks = append(p.blocks, part.blocks...)
		p.comments = append(p.comments, part.comments...)
		p.list = append(p.list, part.list...)
	}
}
