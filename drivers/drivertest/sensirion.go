package drivertest

import "math"

// SensirionWords is what a Sensirion part sends for these words: each with its checksum behind it, which is worked out otherwise than in the
// drivers.
func SensirionWords(words ...uint16) []byte {
	var sent []byte
	for _, word := range words {
		hi, lo := byte(word>>8), byte(word)
		sent = append(sent, hi, lo, remainder(uint32(hi)<<16|uint32(lo)<<8))
	}
	return sent
}

// remainder divides the word, with the start value FFh laid over its first byte, by x^8 + x^5 + x^4 + 1, digit by digit as on paper.
func remainder(bits uint32) byte {
	bits ^= 0xFF0000
	for at := 23; at >= 8; at-- {
		if bits>>at&1 == 1 {
			bits ^= 0x131 << (at - 8)
		}
	}
	return byte(bits)
}

// Steps divides the span between the values of the all-zero and the all-one word of 16 bits into 65,535 steps, and counts those up to value.
func Steps(value, zero, full float64) uint16 {
	n := math.Round((value - zero) / ((full - zero) / 65535))
	return uint16(math.Max(0, math.Min(65535, n)))
}
