package command

import (
	"encoding/json"
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"millwarden/internal/browser"
	"millwarden/internal/peers"
)

// spanishPages are the pages of the demo, each with what stands on it once its lists have come.
var spanishPages = [][2]string{{"/", ".way .line"}, {"/alarms", ".alarm"}, {"/links", "dl.board div"}, {"/more", "main a"}, {"/lots", ".band"}, {"/lot/126", "main tbody tr"}, {"/logbook", ".entry"},
	{"/register", "details.row"}, {"/rates", "tbody tr"}, {"/season", "tbody tr"}, {"/roster", "li.row"}, {"/probes", ".probe code"}, {"/rules", "mark, li.row"},
	{"/station/tank-1", ".chart canvas"}, {"/station/dryer-1", ".chart canvas"}, {"/point/bin-2/temperature", ".chart canvas"}}

// englishLeft lists the texts that a person sees or hears on a page and that hold a word which an English sentence hardly does without and no Spanish one has. What is marked as English is the rules' own:
// conditions, sources, files; what was sent in a message stands as it was sent, and what people wrote as they wrote it.
const englishLeft = `(() => {
	const word = /(^|[\s(“"«¿¡])(the|is|are|was|were|and|of|for|with|not|since|until|by|from|to|at|on|in|it|its|this|that|what|when|who|which|limit|off|high|low|yes|alarm|probe|readings?|lot|rules?|here|there|been|be|will|if|as|or|an)([\s,.;:)!?”"»]|$)/i;
	const written = /por correo, intento|neighbour's patio|Sold as dry|Entered by hand|Defects in|sack's own|shade cloth|three waters|Squeaks|Hands? clean/;
	const all = [];
	for (const d of document.querySelectorAll("details")) d.open = true;
	const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
	for (let n; n = walk.nextNode();) if (!n.parentElement.closest("script, style, textarea, pre, code, noscript, [lang=en]")) all.push(n.data.trim());
	for (const e of document.querySelectorAll("[aria-label], [title], [placeholder]")) all.push(e.ariaLabel ?? "", e.title ?? "", e.placeholder ?? "");
	return [...new Set(all)].filter((t) => word.test(t) && !written.test(t)) })()`

// Aim: who chose Spanish reads Spanish on every page of the alarmed demo: why an alarm came, what the logbook says, causes, links, probes, what is computed. The same pages in English are the control: there each of
// them is found to hold English.
func TestPages_spanish(t *testing.T) {
	if testing.Short() || raced {
		t.Skip("a browser is slow")
	}
	v := visitor{t, browser.Open(t, index), startMill(t, peers.FreeAddress(t), t.TempDir(), 60)}
	v.device(768, "light")
	v.open("/")
	v.sees(stickSilent)
	left := func() (all []string) {
		text, err := chromedp.Run(v.tab, chromedp.Evaluate[string](`JSON.stringify(`+englishLeft+`)`))
		v.must(err)
		v.must(json.Unmarshal([]byte(text), &all))
		return all
	}
	if len(left()) < 5 {
		t.Errorf("in English only %q was found: the test looks for the wrong words", left())
	}
	v.run(`localStorage.setItem("language", "es")`)
	for _, page := range spanishPages {
		v.open(page[0])
		v.sees(fmt.Sprintf(`document.documentElement.lang == "es" && document.querySelector(%q)`, page[1]))
		all := left()
		for begun := time.Now(); len(all) > 0 && time.Since(begun) < 60*time.Second; all = left() { // the sentences come after the words
			time.Sleep(200 * time.Millisecond)
		}
		for _, text := range all {
			t.Errorf("%s in Spanish: %s", page[0], strings.Join(strings.Fields(text), " "))
		}
	}
}
