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
// How far its forecasts go. They are judged twice: on simulated tanks and layers that were looked at while the constants were chosen, and on families held out, written from the literature
// before that judgement and never tuned to (tanktest/unseen.go, rules/models/unseen_test.go). Goals: wash half way within 45 min in every other tank, drying half way within 10 % of the time
// left in every other run, 80 % intervals that hold the truth in 70 to 90 %.
//
// Wash (Souring), half way, median / nine of ten / worst in minutes, part held. Looked at, 996 tanks of five laws: 50 / 164 / 847, 82 %; with three washed tanks of the same estate 42 / 142 / 847,
// 83 %. Held out, 400 tanks of two laws: 65 / 185 / 1021, 89 %; with three washed tanks 55 / 173 / 666, 89 %. The goal is met only where it was looked at and tanks were learned. For one
// law (Pair) the interval held only 62 to 66 % near the end.
//
// Drying (Drying) with a moisture meter, half way, median / nine of ten / worst in per cent of the time left, part held, set points changed since left out. Looked at, two laws: 7 / 23 / 62, 89 %.
// Held out, four laws in air that changes: 21 / 71 / 194, 44 %: the goal is missed, and the interval is far too narrow, for layers whose rate bends otherwise than the equation's (constant
// at first, slow at the end), whose equilibrium in dry air is lower, and for dryers whose air follows the day. Without any measured moisture it is hardly a forecast; it is given as uncertain.
// TestSouring_judged, and TestBed_judged in rules/models, print all of it.
//
// Concurrency: functions and values; who follows something keeps its value to one goroutine.
package coffee
