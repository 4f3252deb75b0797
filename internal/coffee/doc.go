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
// How far its forecasts go. They are judged on simulated tanks and layers of seven sets, whose authors worked apart: those looked at while the first forecasters were made, those held out then, two that were sealed, the
// verdict (all in tanktest and in the tests of rules/models), the assize and the tribunal (packages of their names). All are opened by now, so what they say is better than what a tank that nobody knows would say.
// Goals: wash half way wrong by at most 45 min in every other tank, drying by at most 10 % of the time left, 80 % intervals that hold the truth in 70 to 90 %.
//
// Median error half way (with three tanks washed, or three layers dried, two on the assize), part held at 25, 50 and 75 % of the way. Foreman: the middle
// of the estate's own tanks so far, less what is gone, in hours at the reference temperature (by the clock 63 min on the assize, 64 on the tribunal, 101 to 234 on the others):
//
//	            wash, min, before   now       held         foreman   drying, %   held
//	looked at   47 (38)             43 (35)   74, 86, 89   90        7 (5)       97, 100, 97
//	held out    48 (42)             47 (40)   87, 88, 84   70        17 (19)     86, 89, 92
//	opened      109 (99)            91 (84)   73, 78, 82   124       18 (15)     87, 94, 90
//	sealed      100 (100)           98 (98)   75, 70, 72   118       20 (28)     89, 95, 91
//	verdict     47 (40)             33 (27)   90, 88, 89   75        21 (22)     70, 86, 80
//	assize      36 (34)             30 (24)   95, 96, 89   47        20 (18)     88, 94, 90
//	tribunal    53 (52)             36 (33)   86, 84, 79   94        see below
//
// What mended the wash is the temperature to come (Warming): half way its mean was foreseen to 0.6 to 0.9 K on the last three sets, now to 0.2 to 0.5; a kelvin is 7 % of the time left. First tanks are wrong by 60 to 75 min there.
// Twenty estates tell a median to some 8 min: on four times as many the forecaster of before was wrong by 44 and 43 min on the last two sets. Who knows law and estate and goes by its likest other tanks is wrong by 23 min on the
// tribunal, by 38 to 193, by law, on the first four sets (TestOracle with -oracle 4). What did not mend it: more weight on the estate's own time, as tanks differ (0.06 to 0.16 of its logarithm within an estate, 0.12 to 0.30 between);
// own ways trusted more or less; an estate's bias followed; what its electrodes showed, which lag alike (25 min); and no regression on the error, learned on six sets and asked on the one left out, with one tank washed or more:
//
//	left out                               looked at   held out   opened   sealed   verdict   assize   tribunal
//	no regression                          54          55         128      109      33        31       31
//	pH fallen, slope, prior, temperature   54          46         118      108      37        63       49
//	and time gone, trend, width            55          56         120      112      34        41       36
//
// The tribunal's houses, four of whose seven laws are the published fits for parchment, dry slower than the trade says: dryers 14 % where a probe lies in the layer, held 77, 85, 93, and by a meter in a hand 12 % (14 with two layers
// dried), held 81, 96, 88; set points changed later left out. Decks 21 and 24 %. Who knows law, house and the air so far is off by 3 % in dryers, so what is missing is the law of the beans. A first layer of which nothing
// was measured yet is foreseen by the trade alone, and was held in 1 of 10.
//
// What a foreman reaches half way on the layers of the assize: the middle of the house's own earlier layers less what is gone, 24 % (fired houses 15, decks 44); the trade's 28 and 108 h less what is gone, 26. The
// forecast: fired houses 10 and 13, sun decks 52 (29 with own layers), decks below film 39 (38). Who knows law and house and goes by the lots nearest to the readings is off by 11 %
// in static dryers, 6 on decks over a dryer, 5 on sun decks and 35 below film, by 12, 5, 3 and 2 if all air to come is known (TestHouse_oracles of package assize with -oracle 3). So 10 % cannot be reached below film, where a
// cloudy day more is a day more, and not quite in static dryers, where half way the coffee is hardly below 42 %wb, the top of the meter; on sun decks something is left.
//
// What did not mend drying: beans drier than the shapes allow, a longer memory of the weather, following a house's bias at once.
// Constants were chosen over all sets, none on one alone. Worst now are tanks whose liquor is changed or which stand under water, still masses whose electrode hangs in one slice, sun decks before the first own layer,
// and weather that turns. Without any measured moisture drying is hardly a forecast, half way off by half of the time left and more; it is given as uncertain.
// TestSouring_judged with -tanks 100, TestBed_judged in rules/models with -layers 6, those of the assize with -assize 1 and of the tribunal with -tribunal 1 print all of it; without the flags a part.
//
// Concurrency: functions and values; who follows something keeps its value to one goroutine.
package coffee
