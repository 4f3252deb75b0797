package web

import (
	"bytes"
	"compress/gzip"
	_ "embed"
	"net/http"
	"slices"
	"strings"
)

// route is one path of the interface. The page's own files are not in the list; everything else is, and openapi.json describes the same.
type route struct {
	method, path string
	serve        http.HandlerFunc
}

func (w *Web) table() []route {
	return []route{
		{"GET", "/api/openapi.json", w.serveDocument},
		{"GET", "/api/live", w.serveLive},
		{"GET", "/api/overview", w.serveOverview},
		{"GET", "/api/points", w.servePoints},
		{"GET", "/api/points/{station}/{point}", w.servePoint},
		{"GET", "/api/readings", w.serveReadings},
		{"GET", "/api/alarms", w.serveAlarms},
		{"GET", "/api/way", w.serveWay},
		{"GET", "/api/logbook", w.serveLogbook},
		{"GET", "/api/register", w.serveRegister},
		{"GET", "/api/rates", w.serveRates},
		{"GET", "/api/watches", w.serveWatches},
		{"GET", "/api/probes", w.serveProbes},
		{"GET", "/api/calibration", w.serveCalibration},
		{"POST", "/api/calibration", w.serveCalibrate},
		{"GET", "/api/rules", w.serveRules},
		{"POST", "/api/rules", w.serveSave},
		{"POST", "/api/rules/check", w.serveCheck},
		{"GET", "/api/lots", w.serveLots},
		{"POST", "/api/lots", w.serveStep},
		{"GET", "/api/lots/{lot}", w.serveLot},
		{"GET", "/book", w.serveBook},
		{"POST", "/book", w.serveEntered},
		{"GET", "/book/{lot}", w.serveBook},
		{"POST", "/book/{lot}", w.serveEntered},
		{"GET", "/api/season", w.serveSeason},
		{"GET", "/api/season.csv", w.serveSeasonCSV},
		{"GET", "/api/lots/{lot}/record", w.serveRecord},
		{"GET", "/api/lots/{lot}/record.csv", w.serveRecordCSV},
		{"POST", "/api/acknowledge", w.serveAcknowledge},
		{"POST", "/api/acts", w.serveAct},
		{"GET", "/a/{token}", w.serveAnswer},
		{"POST", "/a/{token}", w.serveAnswered},
		{"GET", "/metrics", w.config.Metrics.page().ServeHTTP},
		{"GET", "/health", w.serveHealth},
	}
}

func (w *Web) routes() http.Handler {
	mux := http.NewServeMux()
	for _, r := range w.table() {
		mux.HandleFunc(r.method+" "+r.path, r.serve)
	}
	mux.HandleFunc("/api/", func(rw http.ResponseWriter, _ *http.Request) {
		refuse(rw, http.StatusNotFound, RefusedUnknown, "There is nothing here for this method; /api/openapi.json lists what there is.")
	})
	mux.Handle("/", w.files())
	return w.guard(mux)
}

// openAPI is the document that describes the routes; a test holds both to each other.
//
//go:embed openapi.json
var openAPI []byte

func (w *Web) serveDocument(rw http.ResponseWriter, _ *http.Request) { reply(rw, openAPI) }

// serveOverview gives everything that stands, packed once for all who ask in the same second: it is what a phone on a slow link waits for.
func (w *Web) serveOverview(rw http.ResponseWriter, r *http.Request) {
	rw.Header().Set("Vary", "Accept-Encoding")
	if !strings.Contains(r.Header.Get("Accept-Encoding"), "gzip") {
		reply(rw, w.live.now().full())
		return
	}
	rw.Header().Set("Content-Encoding", "gzip")
	reply(rw, w.live.now().packed())
}

// pack compresses quickly: the board is slower than the link.
func pack(text []byte) []byte {
	var packed bytes.Buffer
	z, _ := gzip.NewWriterLevel(&packed, gzip.BestSpeed) // the level is a constant of the package: no error
	_, _ = z.Write(text)                                 // to memory
	_ = z.Close()
	return packed.Bytes()
}

// standingPoint is a point with what stands at it.
type standingPoint struct {
	wirePoint
	Now   int64 `json:"now"`
	Value value `json:"value"`
}

func (w *Web) servePoints(rw http.ResponseWriter, _ *http.Request) {
	m := w.live.now()
	all := make([]standingPoint, 0, len(m.frame.Plan.Points))
	for _, p := range m.frame.Plan.Points {
		all = append(all, standingPoint{p, m.frame.Now, m.frame.Values[p.Name]})
	}
	reply(rw, encode(all))
}

func (w *Web) servePoint(rw http.ResponseWriter, r *http.Request) {
	m, name := w.live.now(), r.PathValue("station")+"/"+r.PathValue("point")
	i := slices.IndexFunc(m.frame.Plan.Points, func(p wirePoint) bool { return p.Name == name })
	if i < 0 {
		refuse(rw, http.StatusNotFound, RefusedUnknown, "There is no point of that name.")
		return
	}
	reply(rw, encode(standingPoint{m.frame.Plan.Points[i], m.frame.Now, m.frame.Values[name]}))
}

func (w *Web) serveAlarms(rw http.ResponseWriter, _ *http.Request) {
	reply(rw, encode(w.live.now().frame.Alarms))
}

func reply(rw http.ResponseWriter, body []byte) { replyAs(rw, http.StatusOK, body) }

func replyAs(rw http.ResponseWriter, status int, body []byte) {
	rw.Header().Set("Content-Type", "application/json; charset=utf-8")
	rw.Header().Set("Cache-Control", "no-store")
	rw.WriteHeader(status)
	_, _ = rw.Write(body) // the client has gone: nobody is left to be told
}

// refuse answers with the reason, in words a person may read.
func refuse(rw http.ResponseWriter, status int, kind, says string) {
	replyAs(rw, status, encode(struct {
		Refused string `json:"refused"`
		Says    string `json:"says"`
	}{kind, says}))
}
