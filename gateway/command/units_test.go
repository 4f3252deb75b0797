package command

import (
	"bytes"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"testing"

	"github.com/chromedp/chromedp"

	"millwarden/internal/browser"
	"millwarden/internal/peers"
)

// handThermometer is read by somebody, who types what it shows.
const handThermometer = `
probe hand-thermometer
    part            by-hand
    gives           bean-temperature at dryer-1
    every           12 h
    range           0 .. 100 °C
`

// number is the number that a script finds, NaN while it finds none.
func (v visitor) number(script string) float64 {
	v.Helper()
	n, err := chromedp.Run(v.tab, chromedp.Evaluate[float64](fmt.Sprintf(`((t) => t ? Number(t) : -1e9)(%s)`, script)))
	v.must(err)
	return n
}

// leading finds the number of a station's line on the first page where it stands in a unit.
func leading(station, unit string) string {
	return fmt.Sprintf(`[...document.querySelectorAll(".way .line")].find((l) => l.innerText.startsWith(%q))?.innerText.match(/(-?[\d.]+)\s*%s/)?.[1]`, station, unit)
}

// Aim: who chooses °F and lb once, at the foot of a page, has them on every page and after the page was loaded anew: stations, limits, curves, weights of lots, the record; and what such a
// person types is taken as °F and lb. Who looks from another device meanwhile has the estate's °C and kg: 401.5 lb are 182.1 kg and 77 °F are 25 °C [NIST SP 811, appendix B.8: 1 lb is
// 0.45359237 kg; a temperature in °F is 32 and 1.8 times that in °C].
func TestPages_units(t *testing.T) {
	if testing.Short() || raced {
		t.Skip("a browser is slow")
	}
	m := startMill(t, peers.FreeAddress(t), folderWith(t, handThermometer), 1)
	ana, ben := visitor{t, browser.Open(t, index), m}, visitor{t, browser.Open(t, index), m}
	for _, v := range []visitor{ana, ben} {
		v.device(1440, "light")
		v.open("/")
		v.sees(leading("Dryer 1", "°C"))
	}
	ana.presses("Units: as the estate")
	ana.presses("Units: °C, kg")
	ana.reads("Units: °F, lb")
	ana.open("/")
	ana.reads("Units: °F, lb") // chosen once
	ana.sees(leading("Dryer 1", "°F"))
	ana.sees(`!/°C/.test(document.querySelector(".way").innerText)`)
	// The dryer's air moves by less than this between two looks.
	warm, other := ana.number(leading("Dryer 1", "°F")), ben.number(leading("Dryer 1", "°C"))
	if want := other*1.8 + 32; math.Abs(warm-want) > 5 {
		t.Errorf("the dryer has %.1f °F where it has %.1f °C, which are %.1f °F", warm, other, want)
	}

	ana.open("/station/dryer-1")
	ana.sees(`document.querySelector(".chart canvas")`)
	ana.reads("1146 lb") // 520 kg
	ana.sees(`/Air temperature: lowest [\d.]+ °F, highest [\d.]+ °F/.test(document.querySelector(".chart figcaption").innerText)`)
	ana.presses("Enter bean temperature")
	ana.sets("Bean temperature in °F", "77")
	ana.presses("Write it down")
	ana.presses("Ana")
	ana.reads("Written down.")
	ana.sees(`[...document.querySelectorAll(".station .line")].some((l) => /^Bean temperature\s+77\.0 °F/.test(l.innerText))`)
	ben.open("/station/dryer-1")
	ben.sees(`[...document.querySelectorAll(".station .line")].some((l) => /^Bean temperature\s+25\.0 °C/.test(l.innerText))`)
	ben.reads("520 kg")

	ana.open("/point/dryer-1/air-temperature")
	ana.sees(`document.querySelector(".chart canvas")`)
	ana.reads("Limit 113.0 °F (dryer air too hot).") // 45 °C
	ana.sees(`/lowest [\d.]+ °F/.test(document.querySelector(".chart figcaption").innerText) && !document.querySelector("main").innerText.includes("°C")`)

	ana.open("/station/roaster-1")
	ana.presses("Load a lot")
	ana.types("Lot", "150")
	ana.types("Weight in lb", "401.5")
	ana.presses("Write down: loaded")
	ana.reads("Lot 150 since")
	ben.open("/lots")
	ben.sees(`[...document.querySelectorAll(".band")].some((b) => /^Lot 150 .*, 182\.1\d* kg$/.test(b.getAttribute("aria-label")))`)
	ana.open("/lots")
	ana.sees(`[...document.querySelectorAll(".band")].some((b) => /^Lot 150 .*, (401|402) lb$/.test(b.getAttribute("aria-label")))`)
	ana.sees(`[...document.querySelectorAll(".band")].every((b) => !/ kg$/.test(b.getAttribute("aria-label")))`)

	ana.open("/lot/126")
	ana.presses("The record of this lot, to print")
	ana.sees(`document.readyState == "complete" && /deck A bean temperature is 105\.1 °F, limit 104\.0 °F/.test(document.body.innerText) && /571\.0 lb/.test(document.body.innerText)`)
	ben.open("/lot/126")
	ben.presses("The record of this lot, to print")
	ben.sees(`document.readyState == "complete" && /deck A bean temperature is 40\.6 °C, limit 40\.0 °C/.test(document.body.innerText) && /259\.0 kg/.test(document.body.innerText)`)
}

// Aim: on an estate that shows °F, who chooses °C has temperatures turned as temperatures and differences as differences, which are in K: °F is said of both.
func TestPages_unitsOfAnEstateInFahrenheit(t *testing.T) {
	if testing.Short() || raced {
		t.Skip("a browser is slow")
	}
	folder := folderWith(t, "")
	file := filepath.Join(folder, "fern-hollow.rules")
	text, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(file, bytes.Replace(text, []byte("site fern-hollow\n"), []byte("site fern-hollow\n    show            °F\n"), 1), 0o600); err != nil {
		t.Fatal(err)
	}
	m := startMill(t, peers.FreeAddress(t), folder, 1)
	ana, ben := visitor{t, browser.Open(t, index), m}, visitor{t, browser.Open(t, index), m}
	ana.device(1440, "light")
	ana.open("/")
	ana.sees(leading("Dryer 1", "°F"))
	ana.presses("Units: as the estate")
	ana.sees(leading("Dryer 1", "°C"))
	ben.device(1440, "light")
	shows := func(unit string) string {
		return fmt.Sprintf(`document.querySelector("main").innerText.match(/(-?[\d.]+)\s*%s/)?.[1]`, unit)
	}
	const point = "/point/tank-1/warmer-than-start"
	ana.open(point)
	ana.sees(shows("K"))
	ben.open(point)
	ben.sees(shows("°F"))
	// The tank warms by less than this between two looks.
	if k, f := ana.number(shows("K")), ben.number(shows("°F")); math.Abs(k*1.8-f) > 0.5 {
		t.Errorf("the tank is warmer than at its start by %.1f K and by %.1f °F, which are %.1f K", k, f, f/1.8)
	}
}
