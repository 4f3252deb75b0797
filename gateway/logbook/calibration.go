package logbook

import (
	"context"
	"database/sql"
	"encoding/json"
	"fmt"

	"millwarden/gateway/logbook/query"
	"millwarden/internal/reading"
)

// Pair is one point of a calibration, in the base units of the probe's quantity.
type Pair struct {
	Reference float64 `json:"reference"` // what is true: the buffer, the ice bath
	Read      float64 `json:"read"`      // what the probe gave
	// Temperature of the reference in °C, where the probe's slope hangs on it (a buffer).
	Temperature float64 `json:"temperature,omitempty"`
}

// Calibration is one check of a probe against references.
type Calibration struct {
	ID      int64
	At      reading.Stamp
	Probe   string
	Channel string // of the probe; "" where it has one
	Kind    string // "two-point", "offset" and so on
	Points  []Pair
	AsFound json.RawMessage // error before, in the caller's form
	AsLeft  json.RawMessage // coefficients and error after
	Who     string
	Note    string
}

// Calibrate keeps a calibration, with its line in the record, in one commit.
func (l *Logbook) Calibrate(c Calibration) (id int64, err error) {
	if c.Probe == "" || !validOrEmpty(c.AsFound) || !validOrEmpty(c.AsLeft) {
		return 0, fmt.Errorf("logbook: keeping a calibration: %w: it needs a probe, and JSON as found and as left", errEntry)
	}
	points, err := json.Marshal(c.Points)
	if err != nil {
		return 0, fmt.Errorf("logbook: keeping a calibration: its points: %w", err)
	}
	err = l.change("keeping a calibration", func(ctx context.Context, tx *sql.Tx, q *query.Queries) error {
		p := query.InsertCalibrationParams{Probe: c.Probe, Channel: c.Channel, Kind: c.Kind, Points: string(points),
			AsFound: string(c.AsFound), AsLeft: string(c.AsLeft), Who: c.Who, Note: c.Note}
		p.Wall, p.Mono, p.Boot, p.Clock = columns(c.At)
		if id, err = q.InsertCalibration(ctx, p); err != nil {
			return err
		}
		data, err := json.Marshal(struct {
			Calibration int64           `json:"calibration"`
			Channel     string          `json:"channel,omitempty"`
			Kind        string          `json:"kind"`
			Points      []Pair          `json:"points"`
			AsFound     json.RawMessage `json:"asFound,omitempty"`
			AsLeft      json.RawMessage `json:"asLeft,omitempty"`
		}{id, c.Channel, c.Kind, c.Points, c.AsFound, c.AsLeft})
		if err != nil {
			return err
		}
		_, err = record(ctx, tx, q, Entry{At: c.At, Kind: Calibrated, Place: c.Probe, Who: c.Who, Why: c.Note,
			Text: fmt.Sprintf("%s calibrated: %s, %d points", c.Probe, c.Kind, len(c.Points)), Data: data})
		return err
	})
	return id, err
}

func validOrEmpty(j json.RawMessage) bool { return len(j) == 0 || json.Valid(j) }

// Calibrations gives those of a probe ("": of all), newest first.
func (l *Logbook) Calibrations(ctx context.Context, probe string) ([]Calibration, error) {
	var found []Calibration
	err := l.look(ctx, "reading calibrations", func(ctx context.Context, q *query.Queries) error {
		rows, err := q.Calibrations(ctx, probe)
		for _, r := range rows {
			c := Calibration{ID: r.ID, At: stampOf(r.Wall, r.Mono, r.Boot, r.Clock), Probe: r.Probe, Channel: r.Channel, Kind: r.Kind, Who: r.Who, Note: r.Note}
			if err := json.Unmarshal([]byte(r.Points), &c.Points); err != nil {
				return fmt.Errorf("points of calibration %d: %w: %w", r.ID, ErrDamaged, err)
			}
			if r.AsFound != "" {
				c.AsFound = json.RawMessage(r.AsFound)
			}
			if r.AsLeft != "" {
				c.AsLeft = json.RawMessage(r.AsLeft)
			}
			found = append(found, c)
		}
		return err
	})
	return found, err
}
