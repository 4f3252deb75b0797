package web

import (
	"io"
	"log/slog"
	"testing"

	"github.com/prometheus/client_golang/prometheus"
)

func newWeb(t testing.TB, f *fake) *Web {
	t.Helper()
	w, err := New(Config{Model: f, Acts: f, Health: f, Answers: f, History: f, Metrics: NewMetrics(prometheus.NewRegistry()),
		Log: slog.New(slog.NewTextHandler(io.Discard, nil)), Names: []string{"mill.estate.example"}, Version: "test"})
	if err != nil {
		t.Fatal(err)
	}
	return w
}
