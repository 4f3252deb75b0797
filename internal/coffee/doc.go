// Package coffee is what a practitioner would work out: air, sorption, fermentation, drying, storage. Pure functions on typed quantities, each with
// its source, the coffee and the range it holds for. A number that is from memory or a choice says so. It knows no station and no clock.
//
// Sources, cited by short name:
//   - ASHRAE: ASHRAE Handbook Fundamentals 2017, chapter 1, psychrometrics.
//   - Trejos 1989: Trejos R., Roa G., Oliveros C., Cenicafé 40(1):5-15, parchment arabica, desorption, 5 to 55 °C; its equation as quoted.
//   - Roa: thin-layer equation of Roa, Cenicafé, 10 to 70 °C, as quoted.
//   - Codex: CXC 69-2009, code of practice against ochratoxin A in coffee, as quoted.
//   - Jackels 2006: Jackels et al., ASIC 2006, fermentation of washed arabica, as quoted.
//
// Concurrency: functions of values.
package coffee
