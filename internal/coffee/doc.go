// Package coffee is what a practitioner would work out: air, sorption, fermentation, drying, storage, roast, exposure, yield. Functions on typed quantities and
// small values that follow one tank, one lot or one roaster, each with its source, the coffee and the range it holds for. A number that is from memory or a choice
// says so. It knows no station and no clock. It is larger than most packages because each subject has its file and they share their quantities.
//
// Sources, cited by short name:
//   - ASHRAE: ASHRAE Handbook Fundamentals 2017, chapter 1, psychrometrics.
//   - Trejos 1989: Trejos R., Roa G., Oliveros C., Cenicafé 40(1):5-15, parchment arabica, desorption, 5 to 55 °C; its equation as quoted.
//   - Roa: thin-layer equation of Roa, Cenicafé, 10 to 70 °C, as quoted.
//   - Phitakwinai 2019: Phitakwinai S., Thepa S., Nilnont W., Food Science & Nutrition 7(9):2921-2931, Table 2, as transcribed by a third party.
//   - Codex: CXC 69-2009, code of practice against ochratoxin A in coffee, as quoted.
//   - Jackels 2005, 2006: J. Food Sci. 70:C321-C325; ASIC 2006; fermentation of washed arabica, as quoted.
//   - 29 CFR 1910.1000(d)(1)(i): the eight-hour average.
//
// How far its forecasts go. They are judged on three sets of simulated tanks and layers: those looked at while the first forecasters were made; those held out then (tanktest/unseen.go,
// rules/models/unseen_test.go) and looked at since; and those sealed (tanktest/sealed.go, rules/models/sealed_test.go): written from the literature and committed before the forecasters
// were improved, and opened once, after that. What the sealed ones said when they were opened is what to expect of a tank or a layer that nobody knows. Goals: wash half way within 45 min in
// every other tank, drying half way within 10 % of the time left in every other run, 80 % intervals that hold the truth in 70 to 90 %.
//
// Wash (Souring), half way, median / nine of ten / worst in minutes, part held, 100 tanks of each law. Looked at, five laws: 52 / 149 / 571, 82 %; with three washed tanks of the same estate
// 47 / 137 / 571, 82 %. Held out once, two laws: 56 / 152 / 368, 92 %, and 50 / 127 / 247, 90 %. Sealed, three laws: 171 / 620 / 2156, 52 %, and 164 / 492 / 2156, 52 %, silent 12 of 298:
// the goals are missed by far. Worst are tanks under water, whose pH falls quickly from that of the water, rests and falls again (308, held 33 %), and those in which two populations follow
// each other (149, 52 %): their pH rests, and the forecaster knows no curve that does. These tanks also take longer (half of them over 20 h) and their electrodes foul.
//
// Drying (Layer) with a moisture meter, half way, median / nine of ten / worst in per cent of the time left, part held, set points changed since left out. Looked at, two laws: 7 / 24 / 67, 97 %.
// Held out once, four laws: 14 / 56 / 244, 80 %. Sealed, three laws in dryers that stand at night or are stepped down and on decks with rain, cover and open nights, meters that drift:
// 23 / 93 / 235, 70 %, silent 5 of 143. Worst are the decks (weather that nobody knows, sun on the beans, rain) and the fixed bed at night (55 %, held 8 %). Without any measured moisture it
// is hardly a forecast: off by 55 % (sealed) to 196 % (held out once), with intervals that are as wide and hold 83 to 100 %; it is given as uncertain.
// TestSouring_judged with -tanks 100, and TestBed_judged in rules/models with -layers 12, print all of it.
//
// Concurrency: functions and values; who follows something keeps its value to one goroutine.
package coffee
