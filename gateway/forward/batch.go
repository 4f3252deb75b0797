package forward

// batch is readings to write, and the receipts to hand back then. Its lines lie series by series, in the order of time as they came: a store looks up
// the series of each line, and has less work where it is that of the line before: a quarter less in posts of 4,096 lines made beforehand, 3 to 19 % in
// the whole chain beside other work (measured with victoria-metrics 1.79.5).
type batch struct {
	rows     []row
	firsts   []int // places of the first rows of each series
	lines    []byte
	receipts []receipt
}

// add puts a row behind those of its series; number is that of the batch, which no other has had.
func (b *batch) add(r row, number int) {
	place := len(b.rows)
	b.rows = append(b.rows, r)
	if r.batch == number {
		b.rows[r.last].next = place
	} else {
		b.firsts = append(b.firsts, place)
	}
	r.batch, r.last = number, place
}

// encode writes the lines.
func (b *batch) encode() []byte {
	for _, first := range b.firsts {
		r := &b.rows[first]
		b.lines = r.append(b.lines)
		for r.next != 0 {
			r = &b.rows[r.next]
			b.lines = r.append(b.lines)
		}
	}
	return b.lines
}

func (b *batch) empty() {
	b.rows, b.firsts, b.lines, b.receipts = b.rows[:0], b.firsts[:0], b.lines[:0], b.receipts[:0]
}
