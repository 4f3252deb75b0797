package web

import (
	"bytes"
	"compress/gzip"
	"embed"
	"io"
	"io/fs"
	"mime"
	"net/http"
	"net/url"
	"path"
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
	kind         string
	plain, small []byte // small: gzip, nil where it saves nothing
	lasting      bool   // its name holds a hash of its content
}

// files serves the page. Every path that is not a file is the page itself: it finds its own way.
func (w *Web) files() http.Handler {
	held := load(dist)
	style, err := answerFiles.ReadFile("answer.css")
	if err != nil {
		panic("web: the embedded style is missing: " + err.Error())
	}
	held["/answer.css"] = newFile("answer.css", style)
	if _, built := held["/index.html"]; !built {
		held["/index.html"] = newFile("index.html", []byte(notice))
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
		}
		f.serve(rw, r)
	})
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

func load(built fs.FS) map[string]file {
	held := map[string]file{}
	err := fs.WalkDir(built, "dist", func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || d.Name() == ".gitkeep" {
			return err
		}
		text, err := fs.ReadFile(built, name)
		if err == nil {
			held[strings.TrimPrefix(name, "dist")] = newFile(d.Name(), text)
		}
		return err
	})
	if err != nil {
		panic("web: reading the embedded page: " + err.Error())
	}
	return held
}

func newFile(name string, text []byte) file {
	kind := mime.TypeByExtension(path.Ext(name))
	if path.Ext(name) == ".webmanifest" {
		kind = "application/manifest+json"
	}
	f := file{kind: kind, plain: text, lasting: strings.Contains(name, ".") && strings.Count(name, "-") > 0}
	var packed bytes.Buffer
	z, _ := gzip.NewWriterLevel(&packed, gzip.BestCompression) // the level is a constant of the package: no error
	_, _ = z.Write(text)                                       // to memory
	_ = z.Close()
	if packed.Len() < len(text)*9/10 {
		f.small = packed.Bytes()
	}
	return f
}

func (f file) serve(rw http.ResponseWriter, r *http.Request) {
	h, body := rw.Header(), f.plain
	h.Set("Content-Type", f.kind)
	h.Set("Vary", "Accept-Encoding")
	h.Set("Cache-Control", "no-cache")
	if f.lasting {
		h.Set("Cache-Control", "public, max-age=31536000, immutable")
	}
	if f.small != nil && strings.Contains(r.Header.Get("Accept-Encoding"), "gzip") {
		h.Set("Content-Encoding", "gzip")
		body = f.small
	}
	h.Set("Content-Length", strconv.Itoa(len(body)))
	if r.Method != http.MethodHead {
		_, _ = io.Copy(rw, bytes.NewReader(body)) // the client has gone: nobody is left to be told
	}
}
