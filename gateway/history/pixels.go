package history

import (
	"context"
	"errors"
	"fmt"
	"time"

	"millwarden/internal/reading"
)

// mostColumns bounds a chart. Chosen: more than the widest screen has pixels.
const mostColumns = 10000

// Column is what a point did in one stretch of time. Low to Mean say nothing where Readings equals Bad.
type Column struct {
	From, To                     time.Time
	Low, High, First, Last, Mean float64
	Readings, Bad                int             // bad readings are among Readings
	Worst                        reading.Quality // of all
	Cause                        string          // of the first of the worst
}

// column gathers a Column; readings may come in any order.
type column struct {
	Column
	first, last int64 // wall times of First and Last
	sum         float64
}

// Pixels gives at most n columns of equal width between from and to, oldest first. A column without readings is left out: a gap stays a gap.
// Where some readings cannot be read it gives what the others show, and *Damage.
func (h *History) Pixels(ctx context.Context, point string, from, to time.Time, n int) ([]Column, error) {
	low, high := ceilMilli(from), ceilMilli(to)
	if n < 1 || n > mostColumns || high <= low {
		return nil, fmt.Errorf("history: %d columns from %s to %s: write 1 to %d columns and an end after the beginning", n, from.Format(time.RFC3339), to.Format(time.RFC3339), mostColumns)
	}
	width := float64(high-low) / float64(n)
	columns := make([]column, n)
	err := h.scanPoint(ctx, point, from, to, func(_ uint64, k *packed, d *dictionary) error {
		columns[min(int(float64(k.wall-low)/width), n-1)].take(k, d)
		return nil
	})
	var damage *Damage
	if err != nil && !errors.As(err, &damage) {
		return nil, err
	}
	found := make([]Column, 0, n)
	for i := range columns {
		c := &columns[i]
		if c.Readings == 0 {
			continue
		}
		c.From = time.UnixMilli(low + int64(float64(i)*width)).UTC()
		c.To = time.UnixMilli(low + int64(float64(i+1)*width)).UTC()
		if good := c.Readings - c.Bad; good > 0 {
			c.Mean = c.sum / float64(good)
		}
		found = append(found, c.Column)
	}
	return found, err
}

// take adds a reading; the names it is read by know its point, since it was found by that.
func (c *column) take(k *packed, d *dictionary) {
	if c.Readings == 0 || k.quality > c.Worst {
		c.Worst, c.Cause = k.quality, d.cause(k)
	}
	c.Readings++
	if k.quality == reading.Bad || k.form == missing {
		c.Bad++
		return
	}
	value := unpack(k.form, k.number, d.points[k.point].steps)
	if c.Readings-c.Bad == 1 {
		c.Low, c.High, c.First, c.Last, c.first, c.last = value, value, value, value, k.wall, k.wall
	}
	c.Low, c.High, c.sum = min(c.Low, value), max(c.High, value), c.sum+value
	if k.wall < c.first {
		c.First, c.first = value, k.wall
	}
	if k.wall >= c.last {
		c.Last, c.last = value, k.wall
	}
}
