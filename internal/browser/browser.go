// Package browser drives a headless chromium for tests of pages: it opens a tab, waits for what a person would see, presses and types. A page is
// drawn anew at any time, so that what is to be pressed is found, looked at and pressed in one step of the page's own, again and again until it
// is there: a press by coordinates misses where something above has just come or gone. A missing browser skips the test, or fails it where
// CI=true. Tests alone may import it.
//
// Concurrency: a tab is used by one test goroutine at a time.
package browser

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
)

const (
	// Patience is how long something may take to appear; chosen: ten times the slowest seen on a busy machine.
	Patience = time.Minute
	// whole bounds the life of a tab, so that a test that hangs says where.
	whole = 8 * time.Minute
	pause = 50 * time.Millisecond
)

// Open opens a tab over the page that was built into the file index. It ends with the test. More are flags of the browser's command line.
func Open(t testing.TB, index string, more ...chromedp.ExecAllocatorOption) context.Context {
	t.Helper()
	return OpenFor(t, index, whole, more...)
}

// OpenFor is Open for a tab that is looked at for longer.
func OpenFor(t testing.TB, index string, life time.Duration, more ...chromedp.ExecAllocatorOption) context.Context {
	t.Helper()
	if testing.Short() {
		t.Skip("a browser is slow")
	}
	program, err := exec.LookPath("chromium")
	if err != nil {
		needs(t, "chromium is not installed")
	}
	if !fresh(index) {
		needs(t, "the page is not built, or older than its sources: run npm ci and npm run build in gateway/web/ui")
	}
	options := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(program), chromedp.DisableGPU, chromedp.WSURLReadTimeout(Patience),
		chromedp.Flag("disable-component-update", true), chromedp.Flag("disable-quic", true))
	options = append(options, more...)
	allocated, cancel := chromedp.NewExecAllocator(context.Background(), options...) // outlives the test's context, to close in order
	t.Cleanup(cancel)
	tab, closeTab := chromedp.NewContext(allocated)
	t.Cleanup(closeTab)
	if err := chromedp.Do(tab); err != nil {
		t.Fatalf("starting the browser: %v", err)
	}
	bounded, stop := context.WithTimeout(tab, life)
	t.Cleanup(stop)
	return bounded
}

// fresh tells whether the page is there and no source of it is younger: an old page beside a new gateway shows little and hides why.
func fresh(index string) bool {
	page, err := os.Stat(index)
	if err != nil {
		return false
	}
	sources := filepath.Join(filepath.Dir(filepath.Dir(index)), "ui", "src")
	err = filepath.WalkDir(sources, func(_ string, e fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		source, err := e.Info()
		if err == nil && !e.IsDir() && source.ModTime().After(page.ModTime()) {
			err = errors.New("younger")
		}
		return err
	})
	return err == nil
}

func needs(t testing.TB, missing string) {
	t.Helper()
	if os.Getenv("CI") == "true" {
		t.Fatal(missing)
	}
	t.Skip(missing)
}

// See waits until the script gives something true.
func See(tab context.Context, t testing.TB, script string) {
	t.Helper()
	if err := until(tab, "!!("+script+")"); err != nil {
		t.Fatalf("never seen: %s: %v\n%s", script, err, Text(tab))
	}
}

// Press presses the first element of the selector, CSS or an XPath that begins with //, that can be pressed: there, enabled, and covered by
// nothing.
func Press(tab context.Context, t testing.TB, selector string) {
	t.Helper()
	if err := until(tab, call(press, selector)); err != nil {
		t.Fatalf("cannot press %s: %v\n%s", selector, err, Text(tab))
	}
}

// Type presses a field and types into it, behind what is there. Where a list that moves took the focus away meanwhile, it types again, in place of what
// is there.
func Type(tab context.Context, t testing.TB, selector, text string) {
	t.Helper()
	const tries = 6
	var err error
	for try := range tries {
		Press(tab, t, selector)
		if try > 0 {
			_, _ = chromedp.Run(tab, chromedp.Evaluate[chromedp.Void]("document.activeElement.select?.();0")) // what cannot be selected is typed behind
		}
		if err = chromedp.Do(tab, chromedp.KeyEvent(text)); err != nil {
			t.Fatalf("typing into %s: %v", selector, err)
		}
		if err = within(tab, call("(text) => document.activeElement.value.includes(text)", text), Patience/tries); err == nil {
			return
		}
	}
	t.Fatalf("%q was typed into %s, but is not there: %v\n%s", text, selector, err, Text(tab))
}

// Text is what the page says, for messages of failed tests.
func Text(tab context.Context) string {
	text, err := chromedp.Run(tab, chromedp.Evaluate[string]("location.pathname + '\\n' + document.body.innerText"))
	if err != nil {
		return fmt.Sprintf("(and the page cannot be read: %v)", err)
	}
	return text
}

const press = `(selector) => {
	const found = [];
	if (selector.startsWith("//")) {
		const all = document.evaluate(selector, document, null, XPathResult.ORDERED_NODE_SNAPSHOT_TYPE, null);
		for (let i = 0; i < all.snapshotLength; i++) found.push(all.snapshotItem(i));
	} else {
		found.push(...document.querySelectorAll(selector));
	}
	for (const e of found) {
		if (e.disabled) continue;
		e.scrollIntoView({block: "center", behavior: "instant"});
		const box = e.getClientRects()[0];
		if (!box || !box.width || !box.height) continue;
		const top = document.elementFromPoint(box.left + box.width / 2, box.top + box.height / 2);
		if (!top || !e.contains(top)) continue;
		e.focus();
		e.click();
		return true;
	}
	return false;
}`

func call(function, argument string) string {
	quoted, err := json.Marshal(argument)
	if err != nil {
		panic(err) // a string has a JSON form
	}
	return "(" + function + ")(" + string(quoted) + ")"
}

// until asks the page until it says true. An answer that is lost to a page on its way out counts as no.
func until(tab context.Context, script string) error { return within(tab, script, Patience) }

func within(tab context.Context, script string, patience time.Duration) error {
	ctx, stop := context.WithTimeout(tab, patience)
	defer stop()
	for {
		yes, err := chromedp.Run(ctx, chromedp.Evaluate[bool](script))
		if err == nil && yes {
			return nil
		}
		select {
		case <-ctx.Done():
			if err == nil {
				err = ctx.Err()
			}
			return err
		case <-time.After(pause):
		}
	}
}
