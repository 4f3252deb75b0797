package web

import (
	"context"
	"net/http"
	"time"
)

// Calibrating is how a probe stands while references are held to it. Numbers are in the base unit of the point, but Read of an electrode in V and of a scale
// in counts.
type Calibrating struct {
	Probe   string             `json:"probe"`
	Channel string             `json:"channel"`
	Point   string             `json:"point"`
	Method  string             `json:"method"` // "electrode", "scale", "line"
	Unit    string             `json:"unit"`
	Read    float64            `json:"read"`              // mean of what the part gave lately
	Shown   float64            `json:"shown"`             // mean of what was made of it
	Blind   bool               `json:"blind,omitempty"`   // nothing can be made of it before its first calibration, as of a scale: Shown is none
	Celsius *float64           `json:"celsius,omitempty"` // of what it stands in
	Stands  bool               `json:"stands"`
	Why     string             `json:"why,omitempty"`     // why it does not stand still
	Buffers map[string]float64 `json:"buffers,omitempty"` // pH of the known buffers at that temperature
	Boiling float64            `json:"boiling"`           // °C at which water boils here
	Last    int64              `json:"last,omitempty"`    // Unix milliseconds
	Every   int64              `json:"every,omitempty"`   // how often it is due, in ms
	Doubt   string             `json:"doubt,omitempty"`   // why its readings are uncertain
	Drift   string             `json:"drift,omitempty"`   // where it will stand when it is due next
}

// Calibrate is what a technician took.
type Calibrate struct {
	Probe   string           `json:"probe"`
	Channel string           `json:"channel,omitempty"`
	Points  []CalibratePoint `json:"points"`
	By      string           `json:"by"`
	Note    string           `json:"note,omitempty"`
}

// CalibratePoint is one reference held to the probe, as Calibrating told it.
type CalibratePoint struct {
	Reference float64 `json:"reference"`
	Read      float64 `json:"read"`
	Shown     float64 `json:"shown"`
	Blind     bool    `json:"blind,omitempty"` // nothing was shown, so there is no error as found
	Celsius   float64 `json:"celsius,omitempty"`
}

// CalibrationLeft is what a calibration came to, as it is written into the record: as left.
type CalibrationLeft struct {
	Slope     float64   `json:"slope,omitempty"`  // of an electrode, in per cent of the ideal one
	Offset    float64   `json:"offset,omitempty"` // in the unit of Read
	Residual  float64   `json:"residual,omitempty"`
	Gain      float64   `json:"gain,omitempty"`   // of a line
	Shift     float64   `json:"shift,omitempty"`  // of a line
	Errors    []float64 `json:"errors,omitempty"` // of a line, at each reference
	Uncertain bool      `json:"uncertain,omitempty"`
	Warning   string    `json:"warning,omitempty"`
	Refused   string    `json:"refused,omitempty"` // why; then what held before holds on, and readings are uncertain
}

// Calibrated is the outcome.
type Calibrated struct {
	Accepted bool            `json:"accepted"`
	Found    []float64       `json:"found"` // errors before, at each reference
	Left     CalibrationLeft `json:"left"`
	Due      int64           `json:"due,omitempty"` // Unix milliseconds
	Drift    string          `json:"drift,omitempty"`
}

// calibrateWait bounds a calibration: the part judges it between two of its reads. Chosen: longer than the slowest electrode is asked.
const calibrateWait = 40 * time.Second

func (w *Web) serveCalibration(rw http.ResponseWriter, r *http.Request) {
	q := r.URL.Query()
	w.book(rw, r, func(ctx context.Context, b Books) (any, error) {
		c, err := b.Calibration(ctx, q.Get("probe"), q.Get("channel"))
		return w.tongue(r).calibrating(c), err
	})
}

func (w *Web) serveCalibrate(rw http.ResponseWriter, r *http.Request) {
	var body Calibrate
	if !readBody(rw, r, &body) {
		return
	}
	var err error
	if body.By, _, err = w.speaks(r.Context(), body.By, Adjust); err != nil {
		status, kind, says := w.refusal(err)
		refuse(rw, status, kind, says)
		return
	}
	w.bookWithin(rw, r, calibrateWait, func(ctx context.Context, b Books) (any, error) {
		done, err := b.Calibrate(ctx, body)
		return w.tongue(r).calibrated(done), err
	})
}
