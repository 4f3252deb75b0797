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
// How far its forecasts go. They are judged on simulated tanks and layers of six sets, whose authors worked apart: those looked at while the first forecasters were made; those held out then
// (tanktest/unseen.go, rules/models/unseen_test.go); those sealed and opened (tanktest/opened.go, rules/models/opened_test.go); those sealed after that, asked once and opened since
// (tanktest/sealed.go, rules/models/sealed_test.go); and the verdict (tanktest/verdict.go, rules/models/verdict_test.go), an ordinary good estate, written while they were improved by somebody
// who had not read them and asked once; and the assize (package assize), twenty ordinary estates and twenty houses, asked once on 29 November 2026 with the forecasters as they stand. All may be looked at now: what they say is no longer what to expect of a tank that nobody
// knows; what they said when they were first asked is. Goals: wash half way within 45 min in every other tank, drying half way within 10 % of the time left in every other run, 80 % intervals that hold the truth in 70 to 90 %.
//
// Wash (Souring), half way, median / nine of ten / worst in minutes, part held, 100 tanks of each law; in brackets the same with three washed tanks of the same estate. Looked at, five laws:
// 38 / 134 / 891, 85 % (31 / 117 / 891, 87 %). Held out, two: 47 / 123 / 336, 90 % (42 / 110 / 268, 89 %). Opened, three: 103 / 371 / 1306, 76 % (94 / 365 / 1306, 77 %). Sealed until opened,
// three: 98 / 339 / 898, 73 % (98 / 327 / 714, 73 %). At a quarter of the way the medians are 93, 90, 147 and 131, held 76, 89, 72 and 76 %; at three quarters 25, 34, 62 and 72, held 90, 78, 78
// and 65 %. Silent half way: 1, 0, 9 and 15 tanks. When they were first asked, with the forecaster of then: opened 171, 52 %; sealed 96, 73 %. The verdict, three laws:
// 58 / 132 / 296, 80 % (54 / 126 / 296, 77 %); at a quarter 81, 84 %, at three quarters 27, 86 %; none silent; where the interval missed, the tank was nearly always ready before it. The assize, five laws:
// 54 / 115 / 424, 87 % (51 / 109 / 424, 81 %); at a quarter 50, 92 %, at three quarters 33, 83 %; silent 2 of 160; of 20 tanks that came outside the interval half way 19 came before it. So the
// goal of the error is met on the first set and near on the second, the verdict and the assize, and missed on the others; that of the interval is met but for the sealed set at three quarters.
//
// Most of that error seems to lie in the tanks. Who knows the law and the estate, and takes the middle of those nine of 300 tanks of them whose readings so far were likest, is half way wrong by 38 to 61 min
// on the first set, 52 and 59 on the second, 65, 67 and 105 on the third, 73, 105 and 193 on the last (40 tanks of each; TestOracle_ofTheLaw with -oracle 4): no bound, on Pair and Liquor the forecaster is nearer. Trees of regression taught on up to 700 tanks of the very law,
// with its estate's history and this forecast among their inputs, came to 41, 41, 109 and 79 over the sets; taught on the laws of the other three sets only, to 48, 50, 105 and 112. Worst are tanks
// whose liquor is changed or which stand under water (115) and still masses whose electrode hangs in one slice while the whole counts (117, held 66 %, at three quarters 49 %).
//
// The constants were held to leaving one set out: of twelve ways to choose them, the one that was best on the other three sets at 25, 50 and 75 % of the way always let the mass cool on and
// forget slowly, and gave on the set left out 91, 37, 25 (before: 96, 41, 25); 85, 46, 37 (102, 42, 37); 153, 109, 66 (186, 105, 65); 132, 105, 76 (132, 96, 75): better early, and half way no
// better or worse than chance moves it. The intervals follow an estate's own tanks (Wider), which is what makes them alike from author to author.
//
// Drying (Layer) with a moisture meter, half way, median / nine of ten / worst in per cent of the time left, part held, set points changed since left out; six layers of each law in each place one
// after the other, as of one estate. Looked at, two laws: 6 / 15 / 36, 100 %. Held out once, four: 16 / 54 / 125, 91 %. The verdict, three: 21 / 69 / 98, 89 %, silent 2 of 68 (24 / 72 / 137,
// 86 % where nothing was learned from other layers, silent 3); at a quarter 38, 69 % (51, 52 %), at three quarters 21, 81 % (23, 81 %). Opened and sealed, three laws each,
// four layers: 19 / 39 / 83, 96 % and 16 / 77 / 168, 90 %. So the goal of the error is met on the first set only; that of the interval about, with some held too often,
// and missed at a quarter of the way, above all where nothing was learned yet.
//
// The assize, five laws, moisture from a meter in a hand: 59 / 174 / 378, 85 %, silent 4 of 99; where the house had dried two before 39 / 153 / 321, 89 %; at a quarter 81, 90 %, at three quarters 33, 85 %. Worst are
// beans that dry as a shrinking core (153, 55 %) and sun decks (78, 86 %). So intervals may be relied on, middles may not.
//
// When they were first asked, with the forecaster of then, the verdict said 52 / 137 / 332, 42 % (at a quarter 57, 25 %; at three quarters 55, 59 %), with what was opened before at 7, 16, 17, 25 %. All of that came from the law of the layer:
// with the true air of all hours to come it was 49 % and 43 %, with a meter that tells the truth 45 % and 48 %. The nine shapes of then were like none of its laws: two films dry steadily down to 40 % of the dry
// weight (foreseen twice too late), Thompson ever slower (foreseen in half the time). Shapes of a whole space (ways.go) and a deviation of readings that is not known beforehand mended that; no constant of
// them was chosen on the verdict alone, and none holds for a coffee that dries by a law outside that space.
// A known law is another matter: who knows the law, the hands and all air to come is off by 1 % on the first set (TestBed_oracleOfTheLaw with -layers 12). Worst now are decks half way through
// weather that changes (47 to 52 %), houses with a warm floor (40), and the last quarter on decks, where an hour more or less is the next day.
// Trees taught on 20 layers of the
// very law in each of those places come to 7, 14, 14 and 18 % over the sets, so much of this lies in weather, fires and hands that nobody knows ahead. Without any measured moisture it is hardly a
// forecast: off by 88 % (sealed), held in 7 of 10; it is given as uncertain.
// TestSouring_judged with -tanks 100, and TestBed_judged in rules/models with -layers 6 or 12, and with -alone, print all of it; without the flags a part of it.
//
// Concurrency: functions and values; who follows something keeps its value to one goroutine.
package coffee
