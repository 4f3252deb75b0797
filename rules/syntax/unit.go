package syntax

import "strings"

// unitsRead maps each way to type a unit to its printed form. The quantities behind them are the checker's; a test holds this table to
// internal/units, which this package may not import.
var unitsRead = func() (read table[string]) {
	for line := range strings.SplitSeq(unitTable, "\n") {
		words := strings.Split(line, ";")
		for _, w := range words {
			read.add(w, words[0])
		}
	}
	return read
}()

// One unit a line: as it is printed; then as people type it.
const unitTable = `°C;C;degC;ºC;˚C;℃;degc
°F;F;degF;ºF;˚F;℉;degf
K;k
pH;ph;PH
%RH;%rh;% RH;% rh;%Rh
%wb;% wb;%WB
%db;% db;%DB
aw
ppm
ppb
kPa;kpa
Pa;pa
hPa;hpa;mbar
bar
kg
g
lb;lbs
t
m
cm
mm
km
ft
L;l
mL;ml
m3;m³
gal
m/s
km/h
V;v
mV;mv
A
mA;ma
Ω;ohm;Ohm;ohms;Ω
kΩ;kohm;kOhm;kΩ
W;w
kW;kw
W/m2;W/m²
rpm
s;sec;second;seconds;secs
ms
min;minute;minutes;mins
h;hour;hours;hr;hrs
d;day;days
degree-hours;°C·h;degree-hour;C·h
%`

// isTime tells whether a printed unit measures time, so that another measure may follow it.
func isTime(printed string) bool {
	switch printed {
	case "ms", "s", "min", "h", "d":
		return true
	}
	return false
}

// lookUnit gives the printed form of a unit, or of a rate of one.
func lookUnit(text string) (string, bool) {
	if printed, ok := unitsRead.find(text); ok {
		return printed, true
	}
	i := strings.LastIndexByte(text, '/')
	if i < 0 {
		return "", false
	}
	top, ok := unitsRead.find(text[:i])
	per, _ := unitsRead.find(text[i+1:])
	return top + "/" + per, ok && isTime(per) && !isTime(top)
}

// printedUnit is the printed form of a unit, or the text itself where it is none.
func printedUnit(text string) string {
	if printed, ok := lookUnit(text); ok {
		return printed
	}
	return text
}
