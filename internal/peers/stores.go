package peers

import (
	"bufio"
	"cmp"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"
)

// Row is one reading as a store holds it.
type Row struct {
	Measurement, Site, Area, Station, Point, Board string

	Millis  int64   // Unix time
	Value   float64 // NaN: the field is not there
	Quality string
}

// Store is what tests ask of either store.
type Store interface {
	Write() (address, org, bucket, token string) // for the v2 write API
	Rows(testing.TB) []Row                       // all it holds, sorted
	Kill()
	Start()
}

var _, _ Store = (*Influx)(nil), (*VictoriaMetrics)(nil)

// Sort brings rows into the order in which Rows gives them.
func Sort(rows []Row) []Row {
	slices.SortFunc(rows, func(a, b Row) int {
		return cmp.Or(cmp.Compare(a.Board, b.Board), cmp.Compare(a.Station, b.Station), cmp.Compare(a.Point, b.Point), cmp.Compare(a.Millis, b.Millis))
	})
	return rows
}

// Influx is a running influxd 1.8.10: the v2 write API with true error codes, and a log that is synced before it answers.
type Influx struct {
	*Server
	URL    string
	Bucket string
	Token  string // user:password of one who may write to Bucket and nothing else
}

const influxConfig = `reporting-disabled = true
bind-address = %q
[meta]
  dir = %q
[data]
  dir = %q
  wal-dir = %q
  query-log-enabled = false
[monitor]
  store-enabled = false
[http]
  bind-address = %q
  auth-enabled = true
  log-enabled = false
`

// StartInflux starts influxd with a database "mill", with more of an environment if wanted.
func StartInflux(t testing.TB, env ...string) *Influx {
	t.Helper()
	program, folder, address := find(t, "influxd"), t.TempDir(), FreeAddress(t)
	in := func(name string) string { return filepath.Join(folder, name) }
	config := fmt.Sprintf(influxConfig, FreeAddress(t), in("meta"), in("data"), in("wal"), address)
	if err := os.WriteFile(in("influxd.conf"), []byte(config), 0o600); err != nil {
		t.Fatal(err)
	}
	i := &Influx{URL: "http://" + address, Bucket: "mill", Token: "gateway:writes"}
	i.Server = startIn(t, env, "influxd", folder, answers(i.URL+"/health"), program, "-config", in("influxd.conf"))
	for _, q := range []string{`CREATE USER admin WITH PASSWORD 'admin' WITH ALL PRIVILEGES`, `CREATE DATABASE mill`,
		`CREATE USER gateway WITH PASSWORD 'writes'`, `GRANT WRITE ON mill TO gateway`} {
		i.Query(t, q)
	}
	return i
}

// Write is where to write to.
func (i *Influx) Write() (address, org, bucket, token string) {
	return i.URL, "estate", i.Bucket, i.Token
}

type influxSeries struct {
	Name    string
	Tags    map[string]string
	Columns []string
	Values  [][]any
}

// Query runs a query of InfluxQL as the administrator.
func (i *Influx) Query(t testing.TB, q string) []influxSeries {
	t.Helper()
	form := url.Values{"q": {q}, "db": {i.Bucket}, "epoch": {"ms"}}
	req, err := http.NewRequest(http.MethodPost, i.URL+"/query?"+form.Encode(), nil)
	if err != nil {
		t.Fatal(err)
	}
	req.SetBasicAuth("admin", "admin") // ignored until the first user is made
	resp, err := http.DefaultClient.Do(req)
	if err != nil {
		t.Fatal(err)
	}
	defer resp.Body.Close() //nolint:errcheck // it was read
	var answer struct {
		Error   string
		Results []struct {
			Error  string
			Series []influxSeries
		}
	}
	if err := json.NewDecoder(resp.Body).Decode(&answer); err != nil {
		t.Fatalf("influxd: %s: %v", q, err)
	}
	if answer.Error != "" {
		t.Fatalf("influxd: %s: %s", q, answer.Error)
	}
	var series []influxSeries
	for _, r := range answer.Results {
		if r.Error != "" {
			t.Fatalf("influxd: %s: %s", q, r.Error)
		}
		series = append(series, r.Series...)
	}
	return series
}

// Rows is all that the database holds.
func (i *Influx) Rows(t testing.TB) []Row {
	t.Helper()
	var rows []Row
	for _, s := range i.Query(t, `SELECT * FROM /.*/ GROUP BY *`) {
		column := func(name string) int { return slices.Index(s.Columns, name) }
		for _, v := range s.Values {
			number := func(name string) float64 {
				if c := column(name); c >= 0 {
					if f, ok := v[c].(float64); ok {
						return f
					}
				}
				return math.NaN()
			}
			rows = append(rows, Row{s.Name, s.Tags["site"], s.Tags["area"], s.Tags["station"], s.Tags["point"], s.Tags["board"],
				int64(number("time")), number("value"), s.Tags["quality"]})
		}
	}
	return Sort(rows)
}

// VictoriaMetrics is a running victoria-metrics: its answer comes up to ten seconds before its disk.
type VictoriaMetrics struct {
	*Server
	URL string
}

// StartVictoriaMetrics starts it so that old readings are kept, new ones seen, and repeated ones counted once; further flags if given.
func StartVictoriaMetrics(t testing.TB, flags ...string) *VictoriaMetrics {
	t.Helper()
	program, folder, address := find(t, "victoria-metrics"), t.TempDir(), FreeAddress(t)
	flags = append([]string{"-httpListenAddr=" + address, "-storageDataPath=" + filepath.Join(folder, "data"), "-retentionPeriod=100y",
		"-search.latencyOffset=0s", "-dedup.minScrapeInterval=1ms", "-memory.allowedBytes=256MB"}, flags...)
	v := &VictoriaMetrics{URL: "http://" + address}
	v.Server = start(t, "victoria-metrics", folder, answers(v.URL+"/health"), program, flags...)
	return v
}

// Write is where to write to. It asks for no token.
func (v *VictoriaMetrics) Write() (address, org, bucket, token string) {
	return v.URL, "estate", "mill", ""
}

// Rows is all that can be found in it, after what is in memory was made searchable.
func (v *VictoriaMetrics) Rows(t testing.TB) []Row {
	t.Helper()
	client := &http.Client{Timeout: time.Minute}
	for _, path := range []string{"/internal/force_flush", "/internal/resetRollupResultCache"} {
		if resp, err := client.Get(v.URL + path); err == nil {
			resp.Body.Close() //nolint:errcheck // nothing in it was wanted
		}
	}
	resp, err := client.Get(v.URL + "/api/v1/export?match[]=" + url.QueryEscape(`{site!=""}`))
	if err != nil {
		t.Fatal(err)
	}
	defer resp.Body.Close() //nolint:errcheck // it was read
	return v.read(t, resp.Body)
}

func (v *VictoriaMetrics) read(t testing.TB, body io.Reader) []Row {
	t.Helper()
	var rows []Row
	lines := bufio.NewScanner(body)
	lines.Buffer(nil, 1<<30)
	for lines.Scan() {
		var s struct {
			Metric     map[string]string
			Values     []*float64
			Timestamps []int64
		}
		if err := json.Unmarshal(lines.Bytes(), &s); err != nil {
			t.Fatal(err)
		}
		cut := strings.LastIndexByte(s.Metric["__name__"], '_')
		name, field := s.Metric["__name__"][:cut], s.Metric["__name__"][cut+1:]
		for n, at := range s.Timestamps {
			row := Row{name, s.Metric["site"], s.Metric["area"], s.Metric["station"], s.Metric["point"], s.Metric["board"], at, *s.Values[n], s.Metric["quality"]}
			if field == "missing" {
				row.Value = math.NaN()
			}
			rows = append(rows, row)
		}
	}
	if err := lines.Err(); err != nil {
		t.Fatal(err)
	}
	return Sort(rows)
}
