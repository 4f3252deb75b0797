package tribunal

import "math"

// fit is one line of table 2 of Phitakwinai 2019 (as quoted): MR = a exp(-k t^n) + b t + c, t in hours.
type fit struct{ k, n, a, b, c float64 }

// fits are a model's lines, by 10, 20, 30 %RH and by 50, 60, 70 °C.
type fits [3][3]fit

var (
	fittedPage = fits{
		{{0.08745, 1.19507, 1, 0, 0}, {0.16853, 1.09016, 1, 0, 0}, {0.18642, 1.1891, 1, 0, 0}},
		{{0.08138, 1.15955, 1, 0, 0}, {0.13766, 1.11952, 1, 0, 0}, {0.17358, 1.09551, 1, 0, 0}},
		{{0.07314, 1.13665, 1, 0, 0}, {0.11676, 1.07778, 1, 0, 0}, {0.13748, 1.09557, 1, 0, 0}},
	}
	fittedHenderson = fits{
		{{0.14055, 1, 1.05148, 0, 0}, {0.2039, 1, 1.03238, 0, 0}, {0.25849, 1, 1.04184, 0, 0}},
		{{0.12295, 1, 1.04794, 0, 0}, {0.17963, 1, 1.03927, 0, 0}, {0.21106, 1, 1.03054, 0, 0}},
		{{0.10318, 1, 1.03717, 0, 0}, {0.14214, 1, 1.03012, 0, 0}, {0.17171, 1, 1.03583, 0, 0}},
	}
	fittedLogarithmic = fits{
		{{0.12863, 1, 1.07067, 0, -0.03291}, {0.22254, 1, 1.20207, 0, 0.02647}, {0.27565, 1, 1.03181, 0, 0.01972}},
		{{0.11491, 1, 1.06325, 0, -0.02564}, {0.19041, 1, 1.03097, 0, 0.01825}, {0.22786, 1, 1.02026, 0, 0.02311}},
		{{0.08613, 1, 1.09422, 0, -0.08007}, {0.14607, 1, 1.02547, 0, 0.00904}, {0.17958, 1, 1.02926, 0, 0.01421}},
	}
	fittedMidilli = fits{
		{{0.08243, 1.249165, 1, 0.001647, 0}, {0.139781, 1.230308, 1, 0.002175, 0}, {0.165239, 1.297477, 1, 0.001333, 0}},
		{{0.07621, 1.225808, 1, 0.001566, 0}, {0.121461, 1.179043, 1, 0.001722, 0}, {0.14913, 1.213382, 1, 0.001422, 0}},
		{{0.055194, 1.300503, 1, 0.002104, 0}, {0.098322, 1.238872, 1, 0.002484, 0}, {0.138045, 1.206457, 1, 0.001858, 0}},
	}
)

// curve is a fit along its age: MR = a exp(-age^n) + b age + c, and how fast it ages. So every constant but the pace is without a unit, and what is fitted at one air can be read at another.
// oldest is the age at which it comes to its rest.
type curve struct{ pace, n, a, b, c, oldest, rest float64 }

func (f fit) curve() curve {
	pace := math.Pow(f.k, 1/f.n)
	return curve{pace: pace, n: f.n, a: f.a, b: f.b / pace, c: f.c}
}

func mixed(x, y curve, part float64) curve {
	of := func(x, y float64) float64 { return interpolate(x, y, part) }
	return curve{pace: of(x.pace, y.pace), n: of(x.n, y.n), a: of(x.a, y.a), b: of(x.b, y.b), c: of(x.c, y.c)}
}

// table is a model's curves, in the order of its fits, and how its pace goes on outside them: K of Arrhenius, and part of it for each %RH.
type table struct {
	curves     [3][3]curve
	warm, damp float64
}

func (f *fits) table() *table {
	t := &table{}
	for i := range f {
		for j := range f[i] {
			t.curves[i][j] = f[i][j].curve()
		}
	}
	of := &t.curves
	t.warm = math.Log(of[1][2].pace/of[1][0].pace) / (1/(50+kelvin) - 1/(70+kelvin))
	t.damp = math.Log(of[2][0].pace/of[0][0].pace) / 20
	return t
}

// at is the curve in air of t °C and rh %RH: straight between the lines of the table; outside it shapes stay as at its edge, and the pace goes on with the warmth by Arrhenius and with the humidity as an
// exponential, each as steep as between the two edges (choice: the paper measured no cooler air).
func (f *table) at(t, rh float64) curve {
	warm, damp := between(50, t, 70), between(10, rh, 30)
	i, j := min(int(damp-10)/10, 1), min(int(warm-50)/10, 1)
	x, y := (damp-10)/10-float64(i), (warm-50)/10-float64(j)
	of := &f.curves
	c := mixed(mixed(of[i][j], of[i][j+1], y), mixed(of[i+1][j], of[i+1][j+1], y), x)
	c.pace *= math.Exp(f.warm*(1/(warm+kelvin)-1/(t+kelvin)) + f.damp*(rh-damp))
	c.oldest = c.ends()
	c.rest = c.ratio(c.oldest)
	return c
}

// ratio is the moisture ratio at an age.
func (c *curve) ratio(age float64) float64 {
	return c.a*math.Exp(-math.Pow(age, c.n)) + c.b*age + c.c
}

// ends is the age at which the curve comes to its rest: where it turns, where it falls to nothing, or where so little is left that it does not matter.
func (c *curve) ends() float64 {
	const end = 12
	switch {
	case c.b > 0: // n a age^(n-1) exp(-age^n) = b, on the falling side
		low, high := 1.0, float64(end)
		for range 20 {
			mid := (low + high) / 2
			if c.n*c.a*math.Pow(mid, c.n-1)*math.Exp(-math.Pow(mid, c.n)) > c.b {
				low = mid
			} else {
				high = mid
			}
		}
		return low
	case c.c < 0:
		return math.Pow(-math.Log(-c.c/c.a), 1/c.n)
	}
	return end
}

// left is the part of the water that is left at an age: the ratio, less what the fit leaves for ever. That rest is the fit's own; where beans rest is the isotherm's to tell.
func (c *curve) left(age float64) float64 {
	return between(0, (c.ratio(math.Min(age, c.oldest))-c.rest)/(1-c.rest), 1)
}

// age is that at which so much is left.
func (c *curve) age(left float64) float64 {
	low, high := 0.0, c.oldest
	want := c.rest + left*(1-c.rest)
	if c.b == 0 {
		return between(0, math.Pow(math.Max(0, -math.Log((want-c.c)/c.a)), 1/c.n), high)
	}
	for range 20 {
		mid := (low + high) / 2
		if c.ratio(mid) > want {
			low = mid
		} else {
			high = mid
		}
	}
	return low
}
