// Package onewire is what driver and checker both know of 1-Wire parts: the checksum over their numbers and their memories.
//
// Source: Maxim Integrated, "DS18B20", 19-7487 rev 6, figure 11.
//
// Concurrency: one pure function.
package onewire

// Checksum is the CRC of 1-Wire parts over bytes in the order in which they come: x⁸ + x⁵ + x⁴ + 1, lowest bit first, begun with zero. Over bytes
// and the checksum behind them it is zero.
func Checksum(data []byte) byte {
	crc := byte(0)
	for _, b := range data {
		crc ^= b
		for range 8 {
			if crc&1 != 0 {
				crc = crc>>1 ^ 0x8c
			} else {
				crc >>= 1
			}
		}
	}
	return crc
}
