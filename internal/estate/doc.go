// Package estate is an invented coffee estate, simulated: its truth as simple physics, its chips on simulated buses, and the faults that befall
// them. The demo and the tests of the whole run on it; the program under test sees only chips and buses, never the truth.
//
// All constants of the physics are chosen so that the curves pass through common practice (a soak of 15 to 18 h at about 23 °C, a roast of
// about 15 min from a charge at 204 °C to a drop at 221 °C); they are no models of coffee and decide nothing in the product.
//
// Concurrency: Truth belongs to one goroutine; Estate may be asked by many.
package estate
