package web

import (
	"bytes"
	"compress/gzip"
	"crypto/sha256"
	_ "embed"
	"encoding/hex"
	"net/http"
	"slices"
	"strings"

	"millwarden/internal/saying"
)

// route is one path, with the right that it asks for. The page's own files are in no list, and hold nothing of the mill.
type route struct {
	method, path string
	right        Right
	serve        http.HandlerFunc
}

// table is the interface for programs, as openapi.json describes it, and the answer page.
func (w *Web) table() []route {
	return []route{
		{"GET", "/api/openapi.json", See, w.serveDocument},
		{"GET", "/api/me", See, w.serveMe},
		{"GET", "/api/live", See, w.serveLive},
		{"GET", "/api/overview", See, w.serveOverview},
		{"GET", "/api/points", See, w.servePoints},
		{"GET", "/api/points/{station}/{point}", See, w.servePoint},
		{"GET", "/api/readings", See, w.serveReadings},
		{"GET", "/api/courses", See, w.serveCourses},
		{"GET", "/api/alarms", See, w.serveAlarms},
		{"GET", "/api/way", Study, w.serveWay},
		{"GET", "/api/logbook", Study, w.serveLogbook},
		{"GET", "/api/closing", Study, w.serveClosing},
		{"GET", "/api/register", Study, w.serveRegister},
		{"GET", "/api/rates", Study, w.serveRates},
		{"GET", "/api/watches", See, w.serveWatches},
		{"GET", "/api/swaps", See, w.serveSwaps},
		{"POST", "/api/swaps", Swaps, w.serveSwap},
		{"GET", "/api/probes", Study, w.serveProbes},
		{"POST", "/api/probes", Write, w.serveProbeAdd},
		{"POST", "/api/probes/check", Write, w.serveProbeCheck},
		{"POST", "/api/scan", Write, w.serveScan},
		{"GET", "/api/rules", Write, w.serveRules},
		{"POST", "/api/rules", Write, w.serveSave},
		{"POST", "/api/rules/check", Write, w.serveCheck},
		{"GET", "/api/calibration", Study, w.serveCalibration},
		{"POST", "/api/calibration", Adjust, w.serveCalibrate},
		{"GET", "/api/lots", Study, w.serveLots},
		{"POST", "/api/lots", Tend, w.serveStep},
		{"GET", "/api/lots/{lot}", Study, w.serveLot},
		{"GET", "/book", Study, w.serveBook},
		{"POST", "/book", Tend, w.serveEntered},
		{"GET", "/book/{lot}", Study, w.serveBook},
		{"POST", "/book/{lot}", Tend, w.serveEntered},
		{"GET", "/api/season", Study, w.serveSeason},
		{"GET", "/api/season.csv", Study, w.serveSeasonCSV},
		{"GET", "/api/lots/{lot}/record", Study, w.serveRecord},
		{"GET", "/api/lots/{lot}/record.csv", Study, w.serveRecordCSV},
		{"POST", "/api/acknowledge", Acknowledge, w.serveAcknowledge},
		{"POST", "/api/acts", Acknowledge, w.serveAct},
		{"GET", "/api/push", Exercise, w.servePushKey},
		{"POST", "/api/push", Exercise, w.serveSubscribe},
		{"GET", "/a/{token}", Anyone, w.serveAnswer},
		{"POST", "/a/{token}", Anyone, w.serveAnswered},
		{"GET", "/metrics", See, w.config.Metrics.page().ServeHTTP},
		{"GET", "/health", Anyone, w.serveHealth},
	}
}

func (w *Web) routes() http.Handler {
	mux := http.NewServeMux()
	for _, r := range slices.Concat(w.table(), w.doors()) {
		mux.HandleFunc(r.method+" "+r.path, w.need(r.right, r.serve))
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
	stands := w.live.now().in(w.language(r))
	rw.Header().Set("Vary", "Accept-Encoding, Accept-Language, Cookie")
	if !strings.Contains(r.Header.Get("Accept-Encoding"), "gzip") {
		reply(rw, stands.full())
		return
	}
	rw.Header().Set("Content-Encoding", "gzip")
	reply(rw, stands.packed())
}

// packing is the level at which what stands is packed. Chosen: a fifth less for the link than the quickest, and within 3 % of the best.
const packing = 5

func pack(text []byte) []byte {
	var packed bytes.Buffer
	z, _ := gzip.NewWriterLevel(&packed, packing) // the level is a constant: no error
	_, _ = z.Write(text)                          // to memory
	_ = z.Close()
	return packed.Bytes()
}

// standingPoint is a point with what stands at it.
type standingPoint struct {
	wirePoint
	Now    int64   `json:"now"`
	Value  value   `json:"value"`
	Worked *Worked `json:"worked,omitempty"` // of one point alone
}

func (w *Web) servePoints(rw http.ResponseWriter, r *http.Request) {
	f := w.live.now().in(w.language(r)).frame()
	all := make([]standingPoint, 0, len(f.Plan.Points))
	for _, p := range f.Plan.Points {
		all = append(all, standingPoint{wirePoint: p, Now: f.Now, Value: f.Values[p.Name]})
	}
	reply(rw, encode(all))
}

func (w *Web) servePoint(rw http.ResponseWriter, r *http.Request) {
	f, name := w.live.now().in(w.language(r)).frame(), r.PathValue("station")+"/"+r.PathValue("point")
	i := slices.IndexFunc(f.Plan.Points, func(p wirePoint) bool { return p.Name == name })
	if i < 0 {
		refuse(rw, http.StatusNotFound, RefusedUnknown, "There is no point of that name.")
		return
	}
	shown := standingPoint{wirePoint: f.Plan.Points[i], Now: f.Now, Value: f.Values[name]}
	if w.config.Books != nil {
		if worked, found := w.config.Books.Worked(name); found {
			shown.Worked = &worked
		}
	}
	reply(rw, encode(shown))
}

func (w *Web) serveAlarms(rw http.ResponseWriter, r *http.Request) {
	reply(rw, encode(w.live.now().in(w.language(r)).frame().Alarms))
}

// leastPacked is the size below which packing costs more than it saves. Chosen: a packet on the way holds some 1,400 bytes.
const leastPacked = 1400

// replyKept answers with what a browser may keep and ask about again: its tag is made of the content, so that what has not changed is not sent twice
// [RFC 9110 8.8.3, 13.1.2]. Only the one who asked keeps it, and only after asking is it shown again [RFC 9111 5.2.2].
func replyKept(rw http.ResponseWriter, r *http.Request, body []byte) {
	h, sum, form := rw.Header(), sha256.Sum256(body), ""
	h.Del("Content-Language")
	h.Set("Content-Type", "application/json; charset=utf-8")
	h.Set("Cache-Control", "private, no-cache")
	h.Set("Vary", "Accept-Encoding, Accept-Language, Cookie")
	if len(body) >= leastPacked && strings.Contains(r.Header.Get("Accept-Encoding"), "gzip") {
		h.Set("Content-Encoding", "gzip")
		form = "-gzip" // another form is another tag
	}
	h.Set("ETag", `"`+hex.EncodeToString(sum[:12])+form+`"`)
	if slices.ContainsFunc(strings.Split(r.Header.Get("If-None-Match"), ","), func(tag string) bool {
		return strings.TrimPrefix(strings.TrimSpace(tag), "W/") == h.Get("ETag")
	}) {
		h.Del("Content-Encoding")
		rw.WriteHeader(http.StatusNotModified)
		return
	}
	if form != "" {
		body = pack(body)
	}
	_, _ = rw.Write(body) // the client has gone: nobody is left to be told
}

func reply(rw http.ResponseWriter, body []byte) {
	rw.Header().Del("Content-Language")
	replyAs(rw, http.StatusOK, body)
}

func replyAs(rw http.ResponseWriter, status int, body []byte) {
	rw.Header().Set("Content-Type", "application/json; charset=utf-8")
	rw.Header().Set("Cache-Control", "no-store")
	rw.WriteHeader(status)
	_, _ = rw.Write(body) // the client has gone: nobody is left to be told
}

// refuse answers with the reason, in words a person may read, in the language that the header tells by then [RFC 9110 8.5].
func refuse(rw http.ResponseWriter, status int, kind, says string) {
	if rw.Header().Get("Content-Language") == spanish {
		says = saying.In(spanish, says)
	}
	replyAs(rw, status, encode(struct {
		Refused string `json:"refused"`
		Says    string `json:"says"`
	}{kind, says}))
}
