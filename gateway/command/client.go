package command

import (
	"bytes"
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/url"
	"os"
	"strconv"
	"strings"
	"text/tabwriter"
	"time"

	"millwarden/gateway/web"
)

// gateway is the running gateway as the other commands reach it: by the interface of its page, over the socket in its data folder, so that only who may
// enter that folder is heard; or, where an address was given, over the network as everybody else.
type gateway struct {
	address string
	named   string // where it was looked for, for messages
	data    string // the folder in which its socket was looked for
	client  *http.Client
}

func gatewayAt(address, data string) gateway {
	if address != "" {
		if !strings.Contains(address, "://") {
			address = "http://" + address
		}
		return gateway{strings.TrimSuffix(address, "/"), address, data, http.DefaultClient}
	}
	socket := web.Socket(data)
	if _, err := os.Stat(socket); err != nil && data == defaultData { // the demo keeps its folder elsewhere, and hears everybody
		return gatewayAt("http://"+web.DefaultListen, data)
	}
	dial := func(ctx context.Context, _, _ string) (net.Conn, error) {
		return new(net.Dialer).DialContext(ctx, "unix", socket)
	}
	return gateway{"http://localhost", socket, data, &http.Client{Transport: &http.Transport{DialContext: dial}}}
}

// askWait bounds one question; chosen: most take milliseconds, a calibration waits for the probe up to 40 s, a record reads a season on a small board.
const askWait = 2 * time.Minute

// answerMost bounds one answer; chosen: the record of a lot with all its curves has some megabytes.
const answerMost = 64 << 20

func (g gateway) get(ctx context.Context, path string, into any) error {
	return g.do(ctx, http.MethodGet, path, nil, into)
}

func (g gateway) post(ctx context.Context, path string, body any) error {
	return g.postFor(ctx, path, body, nil)
}

// postFor is post with an answer; into nil: none is expected.
func (g gateway) postFor(ctx context.Context, path string, body, into any) error {
	text, err := json.Marshal(body)
	if err != nil {
		return fmt.Errorf("encoding the question: %w", err)
	}
	return g.do(ctx, http.MethodPost, path, text, into)
}

// pathPart is a name as one part of a path.
func pathPart(name string) string { return url.PathEscape(name) }

// throughJSON turns a value into another that has the same form in JSON.
func throughJSON(from, into any) error {
	text, err := json.Marshal(from)
	if err == nil {
		err = json.Unmarshal(text, into)
	}
	return err
}

func (g gateway) do(ctx context.Context, method, path string, body []byte, into any) error {
	text, err := g.text(ctx, method, path, body)
	if err != nil || into == nil {
		return err
	}
	if err := json.Unmarshal(text, into); err != nil {
		return fmt.Errorf("the answer of %s is not a gateway's: %w", g.address, err)
	}
	return nil
}

// text is the answer as it came; what the gateway refuses is an error in its own words.
func (g gateway) text(ctx context.Context, method, path string, body []byte) ([]byte, error) {
	ctx, cancel := context.WithTimeout(ctx, askWait)
	defer cancel()
	request, err := http.NewRequestWithContext(ctx, method, g.address+path, bytes.NewReader(body))
	if err != nil {
		return nil, fmt.Errorf("%w: %s is no address of a page, for example http://%s", errUse, g.address, web.DefaultListen)
	}
	request.Header.Set("Content-Type", "application/json")
	request.Header.Set("Accept-Language", "en") // as everything else that the commands say
	answer, err := g.client.Do(request)
	if err != nil {
		return nil, fmt.Errorf("no gateway answers at %s: is it running? (--data names its folder, --at another address): %w", g.named, err)
	}
	defer answer.Body.Close() //nolint:errcheck // it was read to its end or given up
	text, err := io.ReadAll(io.LimitReader(answer.Body, answerMost))
	switch {
	case err != nil:
		return nil, fmt.Errorf("reading the gateway's answer: %w", err)
	case answer.StatusCode == http.StatusUnauthorized:
		return nil, fmt.Errorf("the gateway at %s wants to know who asks: on its board run this without --at, as its own user or as root", g.named)
	case answer.StatusCode >= http.StatusBadRequest:
		return nil, refusedBy(answer.Status, text)
	}
	return text, nil
}

// refusedBy gives the gateway's own sentence.
func refusedBy(status string, body []byte) error {
	var said struct {
		Says string `json:"says"`
	}
	if json.Unmarshal(body, &said) == nil && said.Says != "" {
		return errors.New(said.Says)
	}
	return fmt.Errorf("the gateway answered %s", status)
}

// siteNow is what the running gateway says of its site.
type siteNow struct {
	Zone     string `json:"zone"`
	Language string `json:"language"`
}

func (g gateway) site(ctx context.Context) (siteNow, error) {
	now, err := g.overview(ctx)
	return now.Plan.Site, err
}

// overviewNow is of the page's first answer what commands need.
type overviewNow struct {
	Wall int64 `json:"wall"`
	Plan struct {
		Site siteNow `json:"site"`
	} `json:"plan"`
}

func (g gateway) overview(ctx context.Context) (now overviewNow, err error) {
	err = g.get(ctx, "/api/overview", &now)
	return now, err
}

// now is the hour by the gateway's clock, or by this machine's where none answers.
func (g gateway) now(ctx context.Context) time.Time {
	if now, err := g.overview(ctx); err == nil {
		return time.UnixMilli(now.Wall)
	}
	return time.Now()
}

// siteTimes are moments as a clock on the wall of the site shows them, wherever the command runs.
type siteTimes struct{ zone *time.Location }

func (g gateway) times(ctx context.Context) (siteTimes, error) {
	site, err := g.site(ctx)
	if err != nil {
		return siteTimes{}, err
	}
	zone, err := time.LoadLocation(site.Zone)
	if err != nil {
		return siteTimes{}, fmt.Errorf("the gateway at %s is of another version: %w", g.named, err)
	}
	return siteTimes{zone}, nil
}

func (s siteTimes) in(ms int64, form string) string {
	return time.UnixMilli(ms).In(s.zone).Format(form)
}
func (s siteTimes) minute(ms int64) string { return s.in(ms, "2006-01-02 15:04") }
func (s siteTimes) hour(ms int64) string   { return s.in(ms, "15:04") }

// ask makes the flags that all questions share.
func ask(name string, io IO, args []string, more func(f flagSet)) (gateway, []string, error) {
	f := flags(name, io)
	at := f.String("at", "", "address of the gateway's page, instead of the socket in its data folder")
	data := f.String("data", defaultData, "the gateway's data folder: who may enter it is heard")
	if more != nil {
		more(f)
	}
	words, err := parse(f, args)
	return gatewayAt(*at, *data), words, err
}

type pointNow struct {
	Name  string `json:"name"`
	Unit  string `json:"unit"`
	Now   int64  `json:"now"`
	Value struct {
		Text    string `json:"text"`
		Quality string `json:"quality"`
		Cause   string `json:"cause"`
		At      int64  `json:"at"`
	} `json:"value"`
}

func readings(ctx context.Context, io IO, args []string) error {
	g, words, err := ask("readings", io, args, nil)
	if err != nil {
		return err
	}
	var points []pointNow
	if len(words) > 0 {
		points = make([]pointNow, 1)
		err = g.get(ctx, "/api/points/"+words[0], &points[0])
	} else {
		err = g.get(ctx, "/api/points", &points)
	}
	if err != nil {
		return err
	}
	w := tabwriter.NewWriter(io.Out, 0, 0, 2, ' ', 0)
	for _, p := range points {
		quality := p.Value.Quality
		if p.Value.Cause != "" {
			quality += ": " + p.Value.Cause
		}
		age := "never"
		if p.Value.At != 0 {
			age = (time.Duration(p.Now-p.Value.At) * time.Millisecond).Round(time.Second).String()
		}
		fmt.Fprintf(w, "%s\t%s %s\t%s\t%s\n", p.Name, cmp.Or(p.Value.Text, "–"), p.Unit, quality, age)
	}
	return w.Flush()
}

type alarmNow struct {
	ID         string `json:"id"`
	Priority   string `json:"priority"`
	State      string `json:"state"`
	Occurrence int64  `json:"occurrence"`
	Because    string `json:"because"`
	Action     string `json:"action"`
	Held       bool   `json:"held"`
	CannotSee  bool   `json:"cannotSee"`
}

func alarms(ctx context.Context, io IO, args []string) error {
	g, _, err := ask("alarms", io, args, nil)
	if err != nil {
		return err
	}
	var list []alarmNow
	if err := g.get(ctx, "/api/alarms", &list); err != nil {
		return err
	}
	blind := 0
	for _, a := range list {
		if a.CannotSee && a.State == "normal" {
			blind++
			continue
		}
		number, held := "", ""
		if a.Occurrence > 0 {
			number = fmt.Sprintf(" %d", a.Occurrence)
		}
		if a.Held {
			held = ", held"
		}
		fmt.Fprintf(io.Out, "%-6s %s%s  %s%s\n       %s\n       %s\n", a.Priority, a.ID, number, a.State, held, a.Because, a.Action)
	}
	if len(list) == blind {
		fmt.Fprintln(io.Out, "no alarm stands")
	}
	if blind > 0 {
		fmt.Fprintf(io.Out, "%d alarms cannot see their points\n", blind)
	}
	return nil
}

func acknowledge(ctx context.Context, io IO, args []string) error {
	var by *string
	g, words, err := ask("acknowledge", io, args, func(f flagSet) { by = f.String("by", "", "who is on it: a person of the rules file") })
	if err != nil {
		return err
	}
	if len(words) != 2 || *by == "" {
		return fmt.Errorf("%w: it needs an alarm, the number of its occurrence and --by, for example: over-fermented@tank-1 412 --by ana", errUse)
	}
	occurrence, err := strconv.ParseInt(words[1], 10, 64)
	if err != nil {
		return fmt.Errorf("%w: %q is no number of an occurrence", errUse, words[1])
	}
	if err := g.post(ctx, "/api/acknowledge", map[string]any{"alarm": words[0], "occurrence": occurrence, "by": *by}); err != nil {
		return err
	}
	fmt.Fprintf(io.Out, "%s is on it: %s %d\n", *by, words[0], occurrence)
	return nil
}
