package web

import (
	"bytes"
	"compress/gzip"
	"embed"
	"fmt"
	"io"
	"io/fs"
	"net/http"
	"net/url"
	"path"
	"regexp"
	"slices"
	"strconv"
	"strings"
)

// dist is the built page. A clone holds only .gitkeep in it, so that the program builds without Node; then a notice is served instead.
//
//go:embed all:dist
var dist embed.FS

const notice = `<!doctype html><html lang="en"><meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1">
<title>Page not built</title><link rel="stylesheet" href="/answer.css"><main><h1>The page is not built into this program.</h1>
<p class="do">The watch runs all the same: probes are read, alarms are judged, people are called.</p>
<p>To build the page: in gateway/web/ui run <code>npm ci</code> and <code>npm run build</code>, then build the program again.</p>
<p><a href="/api/overview">What stands now, as JSON</a> · <a href="/health">Health</a></p></main></html>
`

// file is one file of the page, ready to be sent.
type file struct {
	kind     string
	plain    func() []byte // unpacked anew each time: hardly anybody takes nothing packed
	small    func() []byte // gzip, and Brotli, both packed when the page was built; nil: they were not. They are read anew each time
	smallest func() []byte // from the program's own pages: copies for nobody would take their room
	links    string        // of a page: what it needs, for the header Link
	lasting  bool          // its name holds a hash of its content
	passing  bool          // it holds what stands now, and is kept nowhere
}

// files serves the page. Every path that is not a file is the page itself: it finds its own way.
func (w *Web) files() http.Handler {
	held := load(dist)
	words := wordsOf(held)
	held["/answer.css"] = newFile("answer.css", reader(answerFiles, "answer.css"))
	held["/passkey.js"] = newFile("passkey.js", reader(loginFiles, "passkey.js"))
	if _, built := held["/index.html"]; !built {
		held["/index.html"] = newFile("index.html", func() []byte { return []byte(notice) })
	}
	return http.HandlerFunc(func(rw http.ResponseWriter, r *http.Request) {
		if r.Method != http.MethodGet && r.Method != http.MethodHead {
			rw.Header().Set("Allow", "GET, HEAD")
			http.Error(rw, "the page is only read", http.StatusMethodNotAllowed)
			return
		}
		f, found := held[r.URL.Path]
		if !found && path.Ext(r.URL.Path) != "" {
			http.NotFound(rw, r)
			return
		}
		if !found || r.URL.Path == "/index.html" {
			if to := w.entrance(r); to != "" {
				rw.Header().Set("Cache-Control", "no-store")
				http.Redirect(rw, r, to, http.StatusSeeOther)
				return
			}
			f = held["/index.html"]
			if m := w.standsFor(r); m != nil && !found {
				language := pageLanguage(r, m)
				f.links += words[language]
				w.servePage(rw, r, f, m.in(language))
				return
			}
		}
		f.serve(rw, r)
	})
}

// wordsOf are, by language, the words with which the page begins, as one more link of its header: asked for by the first script they would come a round trip later.
func wordsOf(held map[string]file) map[string]string {
	links := map[string]string{}
	for name := range held {
		if language, hash, _ := strings.Cut(strings.TrimPrefix(name, "/"), "-"); len(language) == 2 && strings.HasSuffix(hash, ".js") {
			links[language] = fmt.Sprintf(", <%s>; rel=modulepreload", name)
		}
	}
	return links
}

// standsFor is what stands, if who asks for the page may see it; nil: the page comes bare and asks for itself. So it does by its own name, under
// which it is kept on devices.
func (w *Web) standsFor(r *http.Request) *moment {
	m := w.live.soon()
	if m == nil {
		return nil
	}
	if v, found := w.visitor(r); !found || !May(v.role, See) {
		return nil
	}
	return m
}

// drawn is the page with what stood at one moment in it, packed once for all who ask for it then.
type drawn struct {
	of    *stands
	plain []byte
	small []byte
}

// servePage sends the page with what stands in it, as data that no browser runs: on a slow link it then need not be asked for.
func (w *Web) servePage(rw http.ResponseWriter, r *http.Request, shell file, s *stands) {
	d := w.drawn.Load()
	if d == nil || d.of != s {
		// encoding/json writes < > & as \u003c and so on, so that the data ends at its own tag alone.
		head, foot, _ := bytes.Cut(shell.plain(), []byte("</body>"))
		plain := slices.Concat(head, []byte(`<script type="application/json" id="stands">`), s.full(), []byte("</script>\n</body>"), foot)
		d = &drawn{s, plain, pack(plain)}
		w.drawn.Store(d)
	}
	shell.plain, shell.small = func() []byte { return d.plain }, func() []byte { return d.small }
	shell.smallest = nil // Brotli is for what stands still
	shell.passing = true
	shell.serve(rw, r)
}

// entrance is where who asks for the page goes first: "" nowhere, he is known.
func (w *Web) entrance(r *http.Request) string {
	if w.holdsSession(r) {
		return ""
	}
	if w.nobody() {
		return "/code"
	}
	return "/login?to=" + url.QueryEscape(r.URL.Path)
}

// load finds the files of the build. Most are there only packed, as NAME.gz and NAME.br.
func load(built fs.FS) map[string]file {
	held := map[string]file{}
	err := fs.WalkDir(built, "dist", func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || d.Name() == ".gitkeep" {
			return err
		}
		switch whole, form := strings.TrimSuffix(name, path.Ext(name)), path.Ext(name); form {
		case ".br": // it goes with the file that it packs
		case ".gz":
			f := newFile(whole, unpacked(reader(built, name)))
			f.small = reader(built, name)
			if _, err := fs.Stat(built, whole+".br"); err == nil {
				f.smallest = reader(built, whole+".br")
			}
			held[strings.TrimPrefix(whole, "dist")] = f
		default:
			if _, packed := fs.Stat(built, name+".gz"); packed != nil {
				held[strings.TrimPrefix(name, "dist")] = newFile(name, reader(built, name))
			}
		}
		return nil
	})
	if err != nil {
		panic("web: reading the embedded page: " + err.Error())
	}
	return held
}

// reader reads an embedded file.
func reader(from fs.FS, name string) func() []byte {
	return func() []byte {
		text, err := fs.ReadFile(from, name)
		if err != nil {
			panic("web: an embedded file is missing: " + err.Error())
		}
		return text
	}
}

// unpacked reads an embedded file that is there as gzip.
func unpacked(small func() []byte) func() []byte {
	return func() []byte {
		z, err := gzip.NewReader(bytes.NewReader(small()))
		if err != nil {
			panic("web: an embedded file is no gzip: " + err.Error())
		}
		text, err := io.ReadAll(z)
		if err != nil {
			panic("web: unpacking an embedded file: " + err.Error())
		}
		return text
	}
}

// kinds are the media types of what the page is made of. Package mime would read what the board's files say of a thousand others, and believe them.
var kinds = map[string]string{
	".html": "text/html; charset=utf-8", ".css": "text/css; charset=utf-8", ".js": "text/javascript; charset=utf-8", ".svg": "image/svg+xml", ".txt": "text/plain; charset=utf-8",
	".webmanifest": "application/manifest+json",
}

func newFile(name string, plain func() []byte) file {
	name = path.Base(name)
	f := file{kind: kinds[path.Ext(name)], plain: plain, lasting: strings.Contains(name, ".") && strings.Count(name, "-") > 0}
	if path.Ext(name) == ".html" {
		f.links = linksOf(plain())
	}
	return f
}

// needs finds what a page names of its own: style, script, and what the script imports.
var needs = regexp.MustCompile(`<(?:link rel="(stylesheet|modulepreload)" href|script type="(module)" src)="(/[^"]+)"`)

// linksOf is the header Link of a page [RFC 8288].
func linksOf(text []byte) string {
	var links []string
	for _, m := range needs.FindAllSubmatch(text, -1) {
		if string(m[1]) == "stylesheet" {
			links = append(links, fmt.Sprintf("<%s>; rel=preload; as=style", m[3]))
		} else {
			links = append(links, fmt.Sprintf("<%s>; rel=modulepreload", m[3]))
		}
	}
	return strings.Join(links, ", ")
}

func (f file) serve(rw http.ResponseWriter, r *http.Request) {
	h := rw.Header()
	h.Set("Content-Type", f.kind)
	h.Set("Vary", "Accept-Encoding")
	h.Set("Cache-Control", "no-cache")
	if f.links != "" {
		h.Set("Link", f.links) // headers come first: a slow link carries the scripts while the page is still on its way
	}
	if f.lasting {
		h.Set("Cache-Control", "public, max-age=31536000, immutable")
	}
	if f.passing {
		h.Set("Cache-Control", "no-store")
	}
	var body []byte
	switch accepts := r.Header.Get("Accept-Encoding"); {
	case f.smallest != nil && strings.Contains(accepts, "br"):
		h.Set("Content-Encoding", "br")
		body = f.smallest()
	case f.small != nil && strings.Contains(accepts, "gzip"):
		h.Set("Content-Encoding", "gzip")
		body = f.small()
	default:
		body = f.plain()
	}
	h.Set("Content-Length", strconv.Itoa(len(body)))
	if r.Method != http.MethodHead {
		_, _ = io.Copy(rw, bytes.NewReader(body)) // the client has gone: nobody is left to be told
	}
}
