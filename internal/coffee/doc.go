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
// How far its forecasts go. They are judged on simulated tanks and layers of eight sets, whose authors worked apart: those looked at while the first forecasters were made, those held out then, two that were sealed, the
// verdict (all in tanktest and in the tests of rules/models), the assize and the tribunal (packages of their names), all opened when the forecasters were last changed, and the jury (its package), which was asked once after that.
// Goals: wash half way wrong by at most 45 min in every other tank, drying by at most 10 % of the time left, 80 % intervals that hold the truth in 70 to 90 %.
//
// Median error half way (with three tanks washed, or three layers dried, two on the assize), part held at 25, 50 and 75 % of the way. Foreman: the middle
// of the estate's own tanks so far, less what is gone, in hours at the reference temperature (by the clock 63 min on the assize, 64 on the tribunal, 101 to 234 on the others):
//
//	            wash, min, before   now       held         foreman   drying, %   held         dryers
//	looked at   47 (38)             43 (35)   74, 86, 89   90        8 (7)       88, 98, 95   8
//	held out    48 (42)             47 (40)   87, 88, 84   70        15 (22)     77, 80, 85   13
//	opened      109 (99)            91 (84)   73, 78, 82   124       17 (19)     79, 86, 78   12
//	sealed      100 (100)           98 (98)   75, 70, 72   118       19 (24)     83, 91, 84   12
//	verdict     47 (40)             33 (27)   90, 88, 89   75        23 (20)     74, 83, 75   10
//	assize      36 (34)             30 (24)   95, 96, 89   47        19 (17)     93, 93, 87   9
//	tribunal    53 (52)             36 (33)   86, 84, 79   94        see below                8 and 8
//
// The jury, whose tanks and layers no forecaster was made on: the wash is wrong half way by 41 min (73 in first tanks, 28 with three washed), held 93, 88, 91 %. Dryers with a probe in the layer 9 % (first layers 19, 8 with two own), held 93, 86, 77;
// by a meter in a hand 13 % (32, 10), held 99, 91, 80; where the set point is changed later, which nobody knows then, 11 and 14; sun decks 21 and 23. Who knows law and estate or house: 24 min, 4 and 4 %, sun decks 23 and 19. So the goals are met for the wash and
// for dryers with a probe; by hand not until a house has dried two layers, as half way through a first one there is hardly a reading.
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
// Drying: all layers, and dryers alone with constants that the six other sets chose, as a new set may expect. The tribunal, whose houses are slower than the trade says, when it was asked: dryers 14 % with a probe in the layer, 12
// by a meter in a hand, decks 21 and 24; now, opened, dryers 7 and 7 (with two own layers 7 and 6), held 100, 93, 96 and 100, 96, 81, decks 22 and 22. A first layer not yet measured is held in 10 of 10, before in 1.
//
// In dryers of assize and tribunal a foreman is wrong by 16 and 11 % with own layers less what is gone, 8 and 16 with the last curve over equivalent time, 21 to 76 with a line or an exponential; the forecaster without own layers by 23
// and 14, with true moistures, ends and air to come by 8 and 6. Who knows law, house and the air so far: 11 and 6 on the assize, 5 on its sun decks, 35 below film (TestHouse_oracles with -oracle 3), 3 on the tribunal.
//
// What mended dryers: layers with a probe taught nothing, taken away before an hour's median was at the target (14 to 9 %); an end was a reading and not that of the curve (11 to 9 on the assize); own time beside the ways (12 to 8 by
// hand). What did not: a probe's offset from checks by hand, as hands err as much; own time in equivalent hours; air to come from three hours; a longer memory of the weather.
// Constants were chosen over all sets, none on one alone. Worst now are tanks whose liquor is changed or which stand under water, still masses whose electrode hangs in one slice, sun decks before the first own layer,
// and weather that turns. Without any measured moisture drying is hardly a forecast, half way off by half of the time left and more; it is given as uncertain.
// TestSouring_judged with -tanks 100, TestBed_judged in rules/models with -layers 6, those of the assize with -assize 1, of the tribunal with -tribunal 1 and of the jury with -jury 2 print all of it; without the flags a part.
//
// Concurrency: functions and values; who follows something keeps its value to one goroutine.
package coffee
