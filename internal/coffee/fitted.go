package coffee

import (
	"math"
	"time"

	"millwarden/internal/units"
)

// Fit is one thin-layer curve fitted to parchment that dried in steady air: moisture ratio (dry basis, from 122 % of the dry weight) over hours
// [Phitakwinai 2019, Table 2, as transcribed by a third party]. All five forms are one: a exp(-k t^n) + b t + c.
type Fit struct{ K, N, A, B, C float64 }

// Ratio is the moisture ratio after a time.
func (f Fit) Ratio(d time.Duration) float64 {
	t := d.Hours()
	return f.A*math.Exp(-f.K*math.Pow(t, f.N)) + f.B*t + f.C
}

// Form is one of the fitted forms.
type Form uint8

const (
	Newton Form = iota
	Page
	HendersonPabis
	Logarithmic
	ModifiedMidilli
	forms
)

// The air of Table 2: 50, 60, 70 °C by 10, 20, 30 %RH.
const (
	fitColdest, fitStep   = 50, 10
	fitDriest, fitDamper  = 10, 10
	fitSteps              = 3
	fitHottest, fitDamped = fitColdest + (fitSteps-1)*fitStep, fitDriest + (fitSteps-1)*fitDamper
)

// fits is Table 2: form, humidity, temperature. Its Table 3, a polynomial for k, is not used: as printed it misses Table 2.
var fits = [forms][fitSteps][fitSteps]Fit{
	Newton: {
		{{0.13392, 1, 1, 0, 0}, {0.19754, 1, 1, 0, 0}, {0.24881, 1, 1, 0, 0}},
		{{0.11736, 1, 1, 0, 0}, {0.17297, 1, 1, 0, 0}, {0.2049, 1, 1, 0, 0}},
		{{0.09931, 1, 1, 0, 0}, {0.13797, 1, 1, 0, 0}, {0.16585, 1, 1, 0, 0}},
	},
	Page: {
		{{0.08745, 1.19507, 1, 0, 0}, {0.16853, 1.09016, 1, 0, 0}, {0.18642, 1.1891, 1, 0, 0}},
		{{0.08138, 1.15955, 1, 0, 0}, {0.13766, 1.11952, 1, 0, 0}, {0.17358, 1.09551, 1, 0, 0}},
		{{0.07314, 1.13665, 1, 0, 0}, {0.11676, 1.07778, 1, 0, 0}, {0.13748, 1.09557, 1, 0, 0}},
	},
	HendersonPabis: {
		{{0.14055, 1, 1.05148, 0, 0}, {0.2039, 1, 1.03238, 0, 0}, {0.25849, 1, 1.04184, 0, 0}},
		{{0.12295, 1, 1.04794, 0, 0}, {0.17963, 1, 1.03927, 0, 0}, {0.21106, 1, 1.03054, 0, 0}},
		{{0.10318, 1, 1.03717, 0, 0}, {0.14214, 1, 1.03012, 0, 0}, {0.17171, 1, 1.03583, 0, 0}},
	},
	Logarithmic: {
		{{0.12863, 1, 1.07067, 0, -0.03291}, {0.22254, 1, 1.20207, 0, 0.02647}, {0.27565, 1, 1.03181, 0, 0.01972}},
		{{0.11491, 1, 1.06325, 0, -0.02564}, {0.19041, 1, 1.03097, 0, 0.01825}, {0.22786, 1, 1.02026, 0, 0.02311}},
		{{0.08613, 1, 1.09422, 0, -0.08007}, {0.14607, 1, 1.02547, 0, 0.00904}, {0.17958, 1, 1.02926, 0, 0.01421}},
	},
	ModifiedMidilli: {
		{{0.08243, 1.249165, 1, 0.001647, 0}, {0.139781, 1.230308, 1, 0.002175, 0}, {0.165239, 1.297477, 1, 0.001333, 0}},
		{{0.07621, 1.225808, 1, 0.001566, 0}, {0.121461, 1.179043, 1, 0.001722, 0}, {0.14913, 1.213382, 1, 0.001422, 0}},
		{{0.055194, 1.300503, 1, 0.002104, 0}, {0.098322, 1.238872, 1, 0.002484, 0}, {0.138045, 1.206457, 1, 0.001858, 0}},
	},
}

// FitAt is a form at one of the nine airs of Table 2.
func FitAt(form Form, a Air) (Fit, error) {
	t, rh := (float64(a.T)-fitColdest)/fitStep, (float64(a.RH)-fitDriest)/fitDamper
	if form >= forms || t != math.Trunc(t) || rh != math.Trunc(rh) || t < 0 || rh < 0 || t >= fitSteps || rh >= fitSteps {
		return Fit{}, ErrOutside
	}
	return fits[form][int(rh)][int(t)], nil
}

// FittedRatio is the moisture ratio by a form in any air from 50 to 70 °C and 10 to 30 %RH, between the fits by straight lines: the second model beside
// the thin-layer equation, and a check on it.
func FittedRatio(form Form, a Air, d time.Duration) (float64, error) {
	if form >= forms || a.T < fitColdest || a.T > fitHottest || a.RH < fitDriest || a.RH > fitDamped {
		return 0, ErrOutside
	}
	t, rh := (float64(a.T)-fitColdest)/fitStep, (float64(a.RH)-fitDriest)/fitDamper
	i, j := min(int(t), fitSteps-2), min(int(rh), fitSteps-2)
	u, v := t-float64(i), rh-float64(j)
	at := func(row, column int) float64 { return fits[form][row][column].Ratio(d) }
	return (at(j, i)*(1-u)+at(j, i+1)*u)*(1-v) + (at(j+1, i)*(1-u)+at(j+1, i+1)*u)*v, nil
}

// FittedTime is when a form has come to a moisture ratio.
func FittedTime(form Form, a Air, ratio float64) (time.Duration, error) {
	if _, err := FittedRatio(form, a, 0); err != nil || ratio <= 0.02 || ratio >= 1 { // below it some forms never come
		return 0, ErrOutside
	}
	hours := solve(0, 200, func(h float64) float64 {
		r, _ := FittedRatio(form, a, time.Duration(h*float64(time.Hour))) // the air was found good above
		return ratio - r
	})
	return time.Duration(hours * float64(time.Hour)), nil
}

// ThinRatio is the moisture ratio of a thin layer by the equation of Roa, for comparison with the fits.
func ThinRatio(t units.Celsius, rh RelativeHumidity, d time.Duration) (float64, error) {
	k, err := DryingConstant(t, rh)
	if err != nil {
		return 0, err
	}
	return math.Exp(-k * math.Pow(d.Hours(), dryingPower)), nil
}
