package web

import (
	"bytes"
	"encoding/json"
	"errors"
	"maps"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/santhosh-tekuri/jsonschema/v6"
)

// document is what the tests read of openapi.json.
type document struct {
	OpenAPI string
	Paths   map[string]map[string]json.RawMessage
}

type operation struct {
	OperationID string
	Responses   map[string]struct {
		Description string
		Content     map[string]json.RawMessage
	}
}

func readDocument(t testing.TB) document {
	t.Helper()
	var d document
	if err := json.Unmarshal(openAPI, &d); err != nil {
		t.Fatal(err)
	}
	return d
}

func (d document) operation(t testing.TB, method, path string) operation {
	t.Helper()
	var o operation
	if err := json.Unmarshal(d.Paths[path][strings.ToLower(method)], &o); err != nil {
		t.Fatalf("%s %s in the document: %v", method, path, err)
	}
	return o
}

// schemas compiles schemas out of the document. OpenAPI 3.1 takes JSON Schema 2020-12 as it is, so an independent validator of that does.
func schemas(t testing.TB) *jsonschema.Compiler {
	t.Helper()
	parsed, err := jsonschema.UnmarshalJSON(bytes.NewReader(openAPI))
	if err != nil {
		t.Fatal(err)
	}
	c := jsonschema.NewCompiler()
	c.DefaultDraft(jsonschema.Draft2020)
	if err := c.AddResource("https://millwarden.example/openapi.json", parsed); err != nil {
		t.Fatal(err)
	}
	return c
}

func pointer(parts ...string) string {
	for i, p := range parts {
		parts[i] = url.PathEscape(strings.NewReplacer("~", "~0", "/", "~1").Replace(p))
	}
	return "https://millwarden.example/openapi.json#/" + strings.Join(parts, "/")
}

// Aim: the document and the handlers tell of the same routes, both ways.
func TestDocument_routes(t *testing.T) {
	d, w := readDocument(t), newWeb(t, newFake())
	if !strings.HasPrefix(d.OpenAPI, "3.1.") {
		t.Errorf("openapi %q, want 3.1", d.OpenAPI)
	}
	served := map[string]bool{}
	for _, r := range w.table() {
		served[r.method+" "+r.path] = true
		if _, described := d.Paths[r.path][strings.ToLower(r.method)]; !described {
			t.Errorf("%s %s is served, but not described", r.method, r.path)
		}
	}
	ids := map[string]bool{}
	for path, methods := range d.Paths {
		for method := range methods {
			if method == "parameters" {
				continue
			}
			if !served[strings.ToUpper(method)+" "+path] {
				t.Errorf("%s %s is described, but not served", method, path)
			}
			id := d.operation(t, method, path).OperationID
			if id == "" || ids[id] {
				t.Errorf("%s %s: operationId %q is empty or not the only one", method, path, id)
			}
			ids[id] = true
		}
	}
}

const calibrateBody = `{"probe":"tank-1-electrode","channel":"ph","points":[{"reference":7.02,"read":-0.008,"shown":7.1,"celsius":20},{"reference":4.0,"read":0.165,"shown":4.2,"celsius":20}],"by":"caro","note":"fresh"}`

// call is one request, and the status it must be answered with.
type call struct {
	method, path, concrete, body string
	status                       int
	prepare                      func(f *fake)
}

const swapBody = `{"by":"ana","away":"ben","stands":"caro","from":"2026-12-24 18:00","to":"2026-12-26 06:00","why":"Christmas"}`

const pushBody = `{"endpoint":"https://push.example.net/p","p256dh":"BAAA","auth":"AAAA","by":"ben"}`

func calls() []call {
	refuse := func(kind string) func(*fake) {
		return func(f *fake) { f.refusal = &Refusal{kind, "No."} }
	}
	const acts, acknowledge, book = "/api/acts", "/api/acknowledge", "/api/lots"
	return []call{
		{"GET", "/api/openapi.json", "", "", 200, nil},
		{"GET", "/api/me", "", "", 200, nil},
		{"GET", "/api/overview", "", "", 200, nil},
		{"GET", "/api/points", "", "", 200, nil},
		{"GET", "/api/points/{station}/{point}", "/api/points/tank-1/ph", "", 200, nil},
		{"GET", "/api/points/{station}/{point}", "/api/points/tank-2/ph-slope", "", 200, nil},
		{"GET", "/api/points/{station}/{point}", "/api/points/tank-1/taste", "", 404, nil},
		{"GET", "/api/readings", "/api/readings?point=tank-1/ph", "", 200, nil},
		{"GET", "/api/readings", "/api/readings?point=bin-2/moisture&columns=40&from=2026-11-24T00:00:00Z&to=2026-11-25T09:00:00Z", "", 200, nil},
		{"GET", "/api/readings", "/api/readings?point=tank-1/taste", "", 404, nil},
		{"GET", "/api/readings", "/api/readings?point=tank-1/ph&from=yesterday", "", 400, nil},
		{"GET", "/api/courses", "/api/courses?point=tank-1/ph&point=bin-2/moisture&columns=40", "", 200, nil},
		{"GET", "/api/courses", "/api/courses?point=tank-1/ph&point=tank-1/taste", "", 404, nil},
		{"GET", "/api/courses", "", "", 400, nil},
		{"GET", "/api/courses", "/api/courses?columns=40" + strings.Repeat("&point=tank-1/ph", maxCourses+1), "", 400, nil},
		{"GET", "/api/alarms", "", "", 200, nil},
		{"GET", "/api/way", "/api/way?from=2026-11-20T00:00:00Z", "", 200, nil},
		{"GET", "/api/way", "/api/way?from=yesterday", "", 400, nil},
		{"GET", "/api/way", "", "", 500, func(f *fake) { f.bookFault = errors.New("logbook: disk gone") }},
		{"GET", book, "", "", 200, nil},
		{"GET", book, "/api/lots?standing=1", "", 200, nil},
		{"GET", "/api/lots/{lot}", "/api/lots/143", "", 200, nil},
		{"GET", "/api/lots/{lot}", "/api/lots/143-a", "", 200, nil},
		{"GET", "/api/lots/{lot}", "/api/lots/none", "", 404, nil},
		{"GET", "/book", "", "", 200, nil},
		{"GET", "/book/{lot}", "/book/143-a", "", 200, nil},
		{"GET", "/book/{lot}", "/book/none", "", 404, nil},
		{"GET", "/api/season", "", "", 200, nil},
		{"GET", "/api/season", "/api/season?from=yesterday", "", 400, nil},
		{"GET", "/api/season.csv", "/api/season.csv?from=2026-09-20T00:00:00Z", "", 200, nil},
		{"GET", "/api/lots/{lot}/record", "/api/lots/143/record", "", 200, nil},
		{"GET", "/api/lots/{lot}/record", "/api/lots/none/record", "", 404, nil},
		{"GET", "/api/lots/{lot}/record.csv", "/api/lots/143/record.csv", "", 200, nil},
		{"GET", "/api/lots/{lot}/record.csv", "/api/lots/none/record.csv", "", 404, nil},
		{"POST", book, "", `{"act":"intake","lot":"150","kg":640,"cherry":"bought","supplier":"n-7","floaters":0,"ripe":94.5,"by":"ben"}`, 200, nil},
		{"POST", book, "", `{"act":"load","station":"tank-2","lot":"143-b","when":"2026-11-25T02:00:00-05:00","by":"ben"}`, 200, nil},
		{"POST", book, "", `{"act":"check","lot":"143-b","gritty":"partly","meter":"11.8 %wb","note":"sweet","by":"ben"}`, 200, nil},
		{"POST", book, "", `{"act":"correct","entry":7,"instead":{"act":"hull","lot":"143-a","in":100,"kg":82,"when":"2026-11-25T02:00:00-05:00"},"by":"ben"}`, 200, nil},
		{"POST", book, "", `{"act":"blend","lot":"house","parts":[{"lot":"143-b","kg":5},{"lot":"143-b","kg":2}],"by":"ben"}`, 422, nil},
		{"POST", book, "", `{"act":"weigh","lot":"143-b","kg":900,"by":"ben"}`, 409, nil},
		{"POST", book, "", `{"act":"weigh","lot":"none","kg":900,"by":"ben"}`, 404, nil},
		{"POST", book, "", `{"act":"weigh","lot":"143-b","kg":9,"by":"nobody"}`, 404, nil},
		{"POST", book, "", `{"act":"weigh","lot":"143-b","kg":9,"by":"vera"}`, 403, nil},
		{"POST", book, "", `{"act":"weigh","lot":"143-b","kg":9,"when":"yesterday","by":"ben"}`, 422, nil},
		{"POST", book, "", `{"act":"weigh","lot":"143-b","kg":"9","by":"ben"}`, 400, nil},
		{"POST", book, "", `{"act":"weigh","lot":"143-b","kg":9,"by":"ben"}`, 500, func(f *fake) { f.refusal = errors.New("logbook: disk full") }},
		{"GET", "/api/push", "", "", 200, nil},
		{"POST", "/api/push", "", pushBody, 200, nil},
		{"POST", "/api/push", "", `{"endpoint":"https://push.example.net/p","p256dh":"?","auth":"AA","by":"ben"}`, 422, nil},
		{"POST", "/api/push", "", `{"endpoint":1}`, 400, nil},
		{"POST", "/api/push", "", pushBody, 409, refuse(RefusedState)},
		{"POST", "/api/push", "", `{"endpoint":"https://push.example.net/p","p256dh":"AA","auth":"AA","by":"nobody"}`, 404, nil},
		{"POST", "/api/push", "", `{"endpoint":"https://push.example.net/p","p256dh":"AA","auth":"AA","by":"vera"}`, 403, nil},
		{"POST", "/api/push", "", pushBody, 500, func(f *fake) { f.refusal = errors.New("disk full") }},
		{"GET", "/health", "", "", 200, nil},
		{"GET", "/health", "", "", 503, func(f *fake) { f.stands = "engine" }},
		{"GET", "/metrics", "", "", 200, nil},
		{"GET", "/api/logbook", "/api/logbook?words=wash&kind=note&before=9&limit=5", "", 200, nil},
		{"GET", "/api/logbook", "/api/logbook?limit=9999", "", 400, nil},
		{"GET", "/api/register", "", "", 200, nil},
		{"GET", "/api/closing", "", "", 200, nil},
		{"GET", "/api/closing", "", "", 500, func(f *fake) { f.bookFault = errors.New("logbook: disk gone") }},
		{"GET", "/api/rates", "/api/rates?days=7", "", 200, nil},
		{"GET", "/api/rates", "/api/rates?days=0", "", 400, nil},
		{"GET", "/api/watches", "", "", 200, nil},
		{"GET", "/api/swaps", "", "", 200, nil},
		{"POST", "/api/swaps", "", swapBody, 200, nil},
		{"POST", "/api/swaps", "", `{"withdraw":true,"corrects":31,"by":"ana"}`, 200, nil},
		{"POST", "/api/swaps", "", `{"withdraw":true,"by":"ana"}`, 422, nil},
		{"POST", "/api/swaps", "", `{"away":"ben","stands":"ben","from":"2026-12-24 18:00","to":"2026-12-26 06:00","by":"ana"}`, 422, nil},
		{"POST", "/api/swaps", "", `{"away":"ben","stands":"ana","by":"ana"}`, 422, nil},
		{"POST", "/api/swaps", "", `{"away":1}`, 400, nil},
		{"POST", "/api/swaps", "", strings.Replace(swapBody, `"ana"`, `"nobody"`, 1), 404, nil},
		{"POST", "/api/swaps", "", strings.Replace(swapBody, `"ana"`, `"vera"`, 1), 403, nil},
		{"POST", "/api/swaps", "", swapBody, 409, refuse(RefusedState)},
		{"POST", "/api/swaps", "", swapBody, 500, func(f *fake) { f.refusal = errors.New("logbook: disk full") }},
		{"GET", "/api/probes", "", "", 200, nil},
		{"GET", "/api/calibration", "/api/calibration?probe=tank-1-electrode", "", 200, nil},
		{"GET", "/api/calibration", "/api/calibration?probe=none", "", 404, nil},
		{"GET", "/api/calibration", "/api/calibration?probe=tank-1-electrode", "", 500, func(f *fake) { f.bookFault = errors.New("logbook: disk gone") }},
		{"POST", "/api/calibration", "", calibrateBody, 200, nil},
		{"POST", "/api/calibration", "", `{"probe":"x","points":[],"by":"caro"}`, 200, nil},
		{"POST", "/api/calibration", "", `{"probe":"x","points":[],"by":"ben"}`, 403, nil},
		{"POST", "/api/calibration", "", `{"probe":"x","points":[],"by":"nobody"}`, 404, nil},
		{"POST", "/api/calibration", "", `{"probe":"x","points":1}`, 400, nil},
		{"POST", "/api/calibration", "", calibrateBody, 403, refuse(RefusedRights)},
		{"POST", "/api/calibration", "", calibrateBody, 409, refuse(RefusedState)},
		{"POST", "/api/calibration", "", calibrateBody, 422, refuse(RefusedInput)},
		{"POST", "/api/calibration", "", calibrateBody, 500, func(f *fake) { f.refusal = errors.New("logbook: disk full") }},
		{"POST", "/api/scan", "", `{"by":"ana"}`, 200, nil},
		{"POST", "/api/scan", "", `{"by":"ben"}`, 403, nil},
		{"POST", "/api/scan", "", `{"by":"nobody"}`, 404, nil},
		{"POST", "/api/scan", "", `{}`, 422, nil},
		{"POST", "/api/scan", "", `{"by":1}`, 400, nil},
		{"POST", "/api/probes/check", "", `{"block":"probe x\n"}`, 200, nil},
		{"POST", "/api/probes/check", "", `{"block":"site x"}`, 422, nil},
		{"POST", "/api/probes", "", `{"block":"probe x\n","by":"ana"}`, 200, nil},
		{"POST", "/api/probes", "", `{"block":"probe x\n","by":"ben"}`, 403, nil},
		{"POST", "/api/probes", "", `{"block":"site x","by":"ana"}`, 422, nil},
		{"GET", "/api/rules", "", "", 200, nil},
		{"POST", "/api/rules/check", "", `{"name":"site.rules","text":"site x"}`, 200, nil},
		{"POST", "/api/rules/check", "", `{"name":"other.rules","text":"site x"}`, 404, nil},
		{"POST", "/api/rules", "", `{"name":"site.rules","was":"","text":"site x","by":"ana"}`, 200, nil},
		{"POST", "/api/rules", "", `{"name":"site.rules","was":"","text":"site x","by":"ben"}`, 403, nil},
		{"POST", "/api/rules", "", `{"name":"site.rules","was":"","text":"site x","by":"nobody"}`, 404, nil},
		{"POST", "/api/rules", "", `{"name":"site.rules","was":"","text":"site x"}`, 422, nil},
		{"POST", "/api/rules", "", `{"name":"site.rules","was":"older","text":"site x","by":"ana"}`, 409, nil},
		{"POST", acts, "", `{"do":"close-out","alarm":"too-wet@bin-3","occurrence":2,"what":"went in too wet","why":"turned it","by":"ben"}`, 200, nil},
		{"POST", acts, "", `{"do":"close-out","alarm":"too-wet@bin-3","occurrence":2,"by":"ben"}`, 422, nil},
		{"POST", acts, "", `{"do":"note","station":"tank-1","why":"gritty","by":"ben"}`, 200, nil},
		{"POST", acts, "", `{"do":"note","station":"tank-1","why":" ","by":"ben"}`, 422, nil},
		{"POST", acknowledge, "", acknowledgeBody, 200, nil},
		{"POST", acknowledge, "", "{", 400, nil},
		{"POST", acknowledge, "", acknowledgeBody, 409, refuse(RefusedSuperseded)},
		{"POST", acknowledge, "", acknowledgeBody, 409, refuse(RefusedState)},
		{"POST", acknowledge, "", acknowledgeBody, 404, refuse(RefusedUnknown)},
		{"POST", acknowledge, "", acknowledgeBody, 403, refuse(RefusedRights)},
		{"POST", acknowledge, "", acknowledgeBody, 422, refuse(RefusedInput)},
		{"POST", acknowledge, "", acknowledgeBody, 500, func(f *fake) { f.refusal = errors.New("logbook: disk full") }},
		{"POST", acts, "", `{"do":"reset","alarm":"x@y","by":"ben"}`, 200, nil},
		{"POST", acts, "", `{"do":"shelve","alarm":"x@y","for":"2 h","why":"cleaning","by":"ben"}`, 200, nil},
		{"POST", acts, "", `{"do":"shelve","alarm":"x@y","for":"2 °C","why":"cleaning","by":"ben"}`, 422, nil},
		{"POST", acts, "", `{"do":"shelve","alarm":"x@y","for":"2 h","by":"ben"}`, 422, nil},
		{"POST", acts, "", `{"do":"remove","alarm":"x@y","why":"probe broken","by":"caro","second":"ana"}`, 200, nil},
		{"POST", acts, "", `{"do":"remove","alarm":"x@y","why":"probe broken","by":"caro","second":"nobody"}`, 404, nil},
		{"POST", acts, "", `{"do":"remove","alarm":"x@y","why":"probe broken","by":"ben","second":"caro"}`, 403, nil},
		{"POST", acts, "", `{"do":"load","station":"tank-1","lot":"144","kg":380.5,"by":"ben"}`, 200, nil},
		{"POST", acts, "", `{"do":"load","station":"tank-1","lot":" ","by":"ben"}`, 422, nil},
		{"POST", acts, "", `{"do":"load","station":"tank-1","lot":"144","kg":-1,"by":"ben"}`, 422, nil},
		{"POST", acts, "", `{"do":"empty","station":"tank-1","by":"ben"}`, 200, nil},
		{"POST", acts, "", `{"do":"mark","station":"roaster-1","what":"chaff-emptied","by":"ben"}`, 200, nil},
		{"POST", acts, "", `{"do":"mark","station":"roaster-1","by":"ben"}`, 422, nil},
		{"POST", acts, "", `{"do":"open the gate","by":"ben"}`, 422, nil},
		{"GET", "/a/{token}", "/a/tank1-ana", "", 200, nil},
		{"GET", "/a/{token}", "/a/old", "", 410, nil},
		{"GET", "/a/{token}", "/a/guess", "", 404, nil},
		{"POST", "/a/{token}", "/a/tank1-ana", "", 200, nil},
		{"POST", "/a/{token}", "/a/tank1-ana", "", 409, refuse(RefusedSuperseded)},
		{"POST", "/a/{token}", "/a/old", "", 410, nil},
		{"POST", "/a/{token}", "/a/guess", "", 404, nil},
	}
}

// Aim: every answer has a status, a content type and a body that the document describes; every operation is called with success, but for the
// stream, whose data are checked below, and forms.
func TestDocument_answers(t *testing.T) {
	d, compiler := readDocument(t), schemas(t)
	called := map[string]bool{"GET /api/live": true, "POST /book": true, "POST /book/{lot}": true} // forms are no JSON: TestBook_forms
	for _, c := range calls() {
		f := newFake().night()
		f.change(func(s *Snapshot) { s.Alarms = append(s.Alarms, fire()) })
		if c.prepare != nil {
			c.prepare(f)
		}
		if c.concrete == "" {
			c.concrete = c.path
		}
		called[c.method+" "+c.path] = called[c.method+" "+c.path] || c.status == http.StatusOK
		got := ask(t, newWeb(t, f), request(c.method, c.concrete, c.body))
		if got.Code != c.status {
			t.Errorf("%s %s %s: status %d, want %d: %s", c.method, c.concrete, c.body, got.Code, c.status, got.Body)
			continue
		}
		described, known := d.operation(t, c.method, c.path).Responses[strconv.Itoa(got.Code)]
		if !known {
			t.Errorf("%s %s: status %d is not described", c.method, c.path, got.Code)
			continue
		}
		kind, _, _ := strings.Cut(got.Header().Get("Content-Type"), ";")
		if _, known := described.Content[kind]; !known {
			t.Errorf("%s %s: %q is not described, only %v", c.method, c.path, kind, slices.Collect(maps.Keys(described.Content)))
		}
		if kind == "application/json" {
			validate(t, compiler, got.Body.Bytes(), c.method+" "+c.concrete,
				pointer("paths", c.path, strings.ToLower(c.method), "responses", strconv.Itoa(got.Code), "content", kind, "schema"))
		}
	}
	for path, methods := range d.Paths {
		for method := range methods {
			if name := strings.ToUpper(method) + " " + path; method != "parameters" && !called[name] {
				t.Errorf("%s was never called with success", name)
			}
		}
	}
}

func validate(t testing.TB, c *jsonschema.Compiler, body []byte, what, schema string) {
	t.Helper()
	s, err := c.Compile(schema)
	if err != nil {
		t.Fatalf("%s: %v", what, err)
	}
	value, err := jsonschema.UnmarshalJSON(bytes.NewReader(body))
	if err != nil {
		t.Fatalf("%s: %v", what, err)
	}
	if err := s.Validate(value); err != nil {
		t.Errorf("%s is not as described: %v", what, err)
	}
}

// Aim: the check above can refuse.
func TestDocument_refuses(t *testing.T) {
	s, err := schemas(t).Compile(pointer("components", "schemas", "Value"))
	must(t, err)
	for _, wrong := range []string{`{}`, `{"text":"4","number":4,"quality":"fine"}`, `{"text":"4","number":"4","quality":"good"}`,
		`{"text":"4","number":4,"quality":"good","also":1}`} {
		value, err := jsonschema.UnmarshalJSON(strings.NewReader(wrong))
		must(t, err)
		if s.Validate(value) == nil {
			t.Errorf("the schema of a value takes %s", wrong)
		}
	}
}

// Aim: both events of the stream carry frames as described, and requests that are accepted are those described.
func TestDocument_frames(t *testing.T) {
	c, f := schemas(t), newFake().night()
	l := newLive(f, "test")
	l.step()
	validate(t, c, l.last.english.full(), "full", pointer("components", "schemas", "Frame"))
	f.pass(time.Second)
	f.change(func(s *Snapshot) { s.Points[0].Reading.Value = 4.01 })
	e := l.step()
	text := string(e.english())
	_, data, _ := strings.Cut(text, "data: ")
	validate(t, c, []byte(strings.TrimSpace(data)), "changes", pointer("components", "schemas", "Frame"))
	for _, k := range calls() {
		if k.body != "" && k.status == http.StatusOK {
			validate(t, c, []byte(k.body), k.body, pointer("paths", k.path, "post", "requestBody", "content", "application/json", "schema"))
		}
	}
}

func TestReadSpan(t *testing.T) {
	now := time.Date(2026, 11, 25, 7, 17, 20, 0, time.UTC)
	s, err := readSpan("", "", "", now)
	if err != nil || !s.to.Equal(now) || now.Sub(s.from) != 12*time.Hour || s.columns != defaultColumns {
		t.Errorf("readSpan of nothing = %+v, %v; want the last twelve hours", s, err)
	}
	for _, wrong := range [][3]string{{"yesterday", "", ""}, {"", "12:00", ""}, {"", "", "0"}, {"", "", "4001"}, {"", "", "many"},
		{"2026-11-25T08:00:00Z", "2026-11-25T07:00:00Z", ""}, {"1990-01-01T00:00:00Z", "", ""}} {
		if _, err := readSpan(wrong[0], wrong[1], wrong[2], now); err == nil {
			t.Errorf("readSpan(%q) was taken", wrong)
		}
	}
}

// Aim: whatever is asked, the span lies within its bounds, or is refused.
func FuzzReadSpan(f *testing.F) {
	f.Add("", "", "")
	f.Add("2026-11-24T18:00:00Z", "2026-11-25T07:00:00-05:00", "600")
	f.Add("0000-01-01T00:00:00Z", "9999-12-31T23:59:59Z", "-1")
	f.Fuzz(func(t *testing.T, from, to, columns string) {
		s, err := readSpan(from, to, columns, time.Unix(1.8e9, 0))
		if err == nil && (!s.from.Before(s.to) || s.to.Sub(s.from) > maxSpan || s.columns < 1 || s.columns > maxColumns) {
			t.Errorf("readSpan(%q, %q, %q) = %+v", from, to, columns, s)
		}
	})
}

// Aim: no body makes the gateway fail, and whatever becomes an act has a person, a place and bounded texts.
func FuzzAct(f *testing.F) {
	for _, c := range calls() {
		f.Add(c.body)
	}
	estate := newFake()
	w := newWeb(f, estate)
	f.Fuzz(func(t *testing.T, body string) {
		r := request("POST", "/api/acts", body)
		r.Header.Set("Content-Type", "application/json")
		before := len(estate.done())
		got := ask(t, w, r)
		if got.Code >= 500 || !json.Valid(got.Body.Bytes()) {
			t.Fatalf("%q: status %d, %s", body, got.Code, got.Body)
		}
		acts := estate.done()[before:]
		if (got.Code == http.StatusOK) != (len(acts) == 1) {
			t.Fatalf("%q: status %d and %d acts", body, got.Code, len(acts))
		}
		for _, a := range acts {
			if a.By == "" || a.Alarm == "" && a.Station == "" || len(a.Why) > maxText || a.For < 0 {
				t.Errorf("%q became %+v", body, a)
			}
		}
	})
}
