package lots

import "millwarden/internal/coffee"

// Yield is what became of the cherry: the weights of this lot's coffee at each form, its share of the weights of the lots it was split from or blended of where
// it had no weight of its own. 0: not known.
type Yield struct {
	Cherry      Kilograms `json:"cherry,omitempty"`
	Wet         Kilograms `json:"wetParchment,omitempty"`
	Dry         Kilograms `json:"parchment,omitempty"` // parchment or dried cherry, as it went to the huller
	Green       Kilograms `json:"green,omitempty"`
	RoastedIn   Kilograms `json:"roastedIn,omitempty"` // green of the batches that were weighed in and out
	RoastedOut  Kilograms `json:"roastedOut,omitempty"`
	CherryGreen float64   `json:"cherryPerGreen,omitempty"` // kg of cherry for each kg of green; ITC QA 108: 5 is good, 6 acceptable, 7 poor
	Outturn     float64   `json:"outturn,omitempty"`        // % of the parchment that is green
	Usual       bool      `json:"usual"`                    // the outturn lies within 78 to 84 %
	RoastLoss   float64   `json:"roastLoss,omitempty"`      // %
	// Green as it would weigh at 11 % [coffee.MassAfter], where its moisture is known.
	GreenAt11 Kilograms `json:"greenAt11,omitempty"`
}

// comparedAt is the moisture at which weights of green are compared: the usual target.
const comparedAt coffee.WetBasis = 11

// Yield reckons the yields of a lot.
func (b *Book) Yield(name string) Yield {
	l := b.lots[name]
	if l == nil {
		return Yield{}
	}
	y := Yield{Cherry: b.weightAs(l, Cherry), Wet: b.weightAs(l, WetParchment), Dry: b.weightAs(l, Parchment, DriedCherry), Green: b.weightAs(l, Green)}
	y.RoastedIn, y.RoastedOut = l.Roasted()
	if y.Cherry > 0 && y.Green > 0 {
		y.CherryGreen = float64(y.Cherry / y.Green)
	}
	if y.Dry > 0 && y.Green > 0 {
		part, usual := coffee.Outturn(float64(y.Dry), float64(y.Green))
		y.Outturn, y.Usual = 100*part, usual
	}
	if y.RoastedIn > 0 {
		y.RoastLoss = 100 * (1 - float64(y.RoastedOut/y.RoastedIn))
	}
	if m := b.greenMoisture(l); m > 0 && y.Green > 0 {
		y.GreenAt11 = Kilograms(coffee.Part{Kilograms: float64(y.Green), Moisture: m}.At(comparedAt).Kilograms)
	}
	return y
}

// greenMoisture is the first moisture measured of the green.
func (b *Book) greenMoisture(l *Lot) coffee.WetBasis {
	for i := range l.Weights {
		if w := &l.Weights[i]; w.Form == Green && w.Moisture > 0 {
			return w.Moisture
		}
	}
	for i := range l.Graded {
		if m := l.Graded[i].Step.Moisture; m > 0 {
			return m
		}
	}
	return 0
}

// weightAs is the weight of the lot's coffee when it had one of the forms: all cherry taken in; of the dry forms the last weight, which went to the huller; of
// the others the first. Without one of its own it is the share of the lots it came from.
func (b *Book) weightAs(l *Lot, forms ...Form) Kilograms {
	kg := Kilograms(0)
	for i := range l.Weights {
		w := &l.Weights[i]
		for _, f := range forms {
			switch {
			case w.Form != f || w.Kg == 0:
			case f == Cherry && len(l.From) == 0 && w.Where != "cherry taken in":
			case f == Cherry && len(l.From) == 0:
				kg += w.Kg
			case f == Parchment || f == DriedCherry || kg == 0:
				kg = w.Kg
			}
		}
	}
	if kg > 0 || len(l.From) == 0 {
		return kg
	}
	for _, share := range l.From {
		from := b.lots[share.Lot]
		whole := Kilograms(0)
		if from != nil && share.Part > 0 {
			whole = b.weightAs(from, forms...)
		}
		if whole == 0 {
			return 0
		}
		kg += whole * Kilograms(share.Part)
	}
	return kg
}

// MoistureByWeight is what a lot's last weight says of its moisture, by the last weight before it of which the moisture is known: its dry matter stays. False where the last weight has a
// moisture of its own, or there is none before it to go by.
func (l *Lot) MoistureByWeight() (coffee.WetBasis, bool) {
	n := len(l.Weights) - 1
	if n < 1 || l.Weights[n].Kg == 0 || l.Weights[n].Moisture > 0 || l.Weights[n].Form != WetParchment && l.Weights[n].Form != Parchment {
		return 0, false
	}
	for i := n - 1; i >= 0; i-- {
		w := &l.Weights[i]
		if w.Form != WetParchment && w.Form != Parchment {
			return 0, false
		}
		if w.Kg > 0 && w.Moisture > 0 {
			m := coffee.MoistureByWeight(float64(w.Kg), w.Moisture, float64(l.Weights[n].Kg))
			return m, m > 0
		}
	}
	return 0, false
}
