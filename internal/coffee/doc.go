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
// How far its forecasts go. They are judged on simulated tanks and layers of four sets: those looked at while the first forecasters were made; those held out then (tanktest/unseen.go,
// rules/models/unseen_test.go); those that were sealed and opened once (tanktest/opened.go, rules/models/opened_test.go), all three looked at since; and those sealed now (tanktest/sealed.go,
// rules/models/sealed_test.go): written from the literature and committed before the forecasters were improved for the last time, and asked once, after that. (Once in two goes: the first
// stopped after two of the three laws of tanks, because the harness waited for an electrode that never showed the end; no forecaster was touched between.) What they said is what to expect of a
// tank or a layer that nobody knows. Goals: wash half way within 45 min in every other tank, drying half way within 10 % of the time left in every other run, 80 % intervals that hold the
// truth in 70 to 90 %.
//
// Wash (Souring), half way, median / nine of ten / worst in minutes, part held, 100 tanks of each law; in brackets the same with three washed tanks of the same estate. Looked at, five laws:
// 41 / 132 / 618, 91 % (34 / 111 / 618, 93 %). Held out once, two laws: 42 / 128 / 308, 96 % (39 / 117 / 283, 96 %). Opened, three laws: 105 / 351 / 2038, 77 % (98 / 343 / 2038, 77 %);
// when they were opened, with the forecaster of then, 171, 52 %. Sealed, three laws: 96 / 358 / 1461, 73 % (95 / 353 / 1461, 73 %), silent 1 of 298: the goal of the error is missed, that of
// the interval met half way and at a quarter (80 %), not at three quarters (64 %) of the way. Worst are tanks whose liquor is changed or which stand under water (133 min, held 75 %) and still
// masses whose electrode hangs in one slice while the whole counts (Rivals 59, 83 %; Strata 114, 62 %): what the electrode does not see, no curve through its readings tells.
//
// Drying (Layer) with a moisture meter, half way, median / nine of ten / worst in per cent of the time left, part held, set points changed since left out. Looked at, two laws: 7 / 20 / 66,
// 100 %. Held out once, four laws: 16 / 41 / 94, 88 %. Opened, three laws: 17 / 55 / 96, 89 % (23 / 93 / 235, 70 % when they were opened). Sealed, three laws by dryers with a wood fire or stepped
// up through a power cut, decks below film or heaped at night, meters that are flat in wet beans: 25 / 75 / 229, 85 %, silent 2 of 128: the goal of the interval is met, that of the error is
// not. Without any measured moisture it is hardly a forecast: off by 88 % (sealed), held in 7 of 10; it is given as uncertain.
// TestSouring_judged with -tanks 100, and TestBed_judged in rules/models with -layers 12, print all of it; without the flags a part of it.
//
// Concurrency: functions and values; who follows something keeps its value to one goroutine.
package coffee
