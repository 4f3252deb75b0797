package drivers

// SensirionChecksum is what follows every word of Sensirion's parts: CRC-8 with polynomial 31h, begun with FFh, not reflected [SHT3x-DIS version 5,
// table 20]. Words of a bus stuck low (00 00, checksum 81) and of one stuck high (FF FF, checksum AC) fail it.
func SensirionChecksum(data []byte) byte {
	crc := byte(0xFF)
	for _, b := range data {
		crc ^= b
		for range 8 {
			if crc&0x80 != 0 {
				crc = crc<<1 ^ 0x31
			} else {
				crc <<= 1
			}
		}
	}
	return crc
}
