package bme280

import "encoding/binary"

// calibration are the words that the maker burnt into the part [table 16].
type calibration struct {
	t1, t2, t3                         float64
	p1, p2, p3, p4, p5, p6, p7, p8, p9 float64
	h1, h2, h3, h4, h5, h6             float64
}

// parse reads them: a is 88 to A1, b is E1 to E7. H4 has its high eight bits in E4 and its low four in the low half of E5; H5 its high eight in E6
// and its low four in the high half of E5. The high byte carries the sign of both.
func parse(a [26]byte, b [7]byte) calibration {
	u := func(at int) float64 { return float64(binary.LittleEndian.Uint16(a[at:])) }
	s := func(at int) float64 { return float64(int16(binary.LittleEndian.Uint16(a[at:]))) }
	return calibration{
		t1: u(0), t2: s(2), t3: s(4),
		p1: u(6), p2: s(8), p3: s(10), p4: s(12), p5: s(14), p6: s(16), p7: s(18), p8: s(20), p9: s(22),
		h1: float64(a[25]),
		h2: float64(int16(binary.LittleEndian.Uint16(b[0:]))),
		h3: float64(b[2]),
		h4: float64(int16(int8(b[3]))<<4 | int16(b[4]&0x0F)),
		h5: float64(int16(int8(b[5]))<<4 | int16(b[4]>>4)),
		h6: float64(int8(b[6])),
	}
}

// fine is the temperature in 1/5120 °C [8.1].
func (c *calibration) fine(adc float64) float64 {
	first := (adc/16384 - c.t1/1024) * c.t2
	second := adc/131072 - c.t1/8192
	return first + second*second*c.t3
}

// pressure is in kPa [8.1]. It is no number where the words divide by nothing.
func (c *calibration) pressure(fine, adc float64) float64 {
	v1 := fine/2 - 64000
	v2 := v1 * v1 * c.p6 / 32768
	v2 += v1 * c.p5 * 2
	v2 = v2/4 + c.p4*65536
	v1 = (c.p3*v1*v1/524288 + c.p2*v1) / 524288
	v1 = (1 + v1/32768) * c.p1
	p := (1048576 - adc - v2/4096) * 6250 / v1
	p += (c.p9*p*p/2147483648 + p*c.p8/32768 + c.p7) / 16
	return p / 1000
}

// humidity is in %RH, not yet held to 0 and 100 [8.1].
func (c *calibration) humidity(fine, adc float64) float64 {
	h := fine - 76800
	h = (adc - (c.h4*64 + c.h5/16384*h)) * (c.h2 / 65536 * (1 + c.h6/67108864*h*(1+c.h3/67108864*h)))
	return h * (1 - c.h1*h/524288)
}
