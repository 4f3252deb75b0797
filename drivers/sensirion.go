package drivers

import (
	"context"
	"fmt"
	"time"
)

// SensirionWords sends a command of a Sensirion part, gives the part its time, fetches words, three bytes each, and checks the checksum behind
// each. A part that is asked too early does not acknowledge. Errors: of the bus as it gave them, Garbled where a checksum is wrong.
func SensirionWords(ctx context.Context, device *I2CDevice, command []byte, wait time.Duration, into []byte) error {
	if err := device.Tx(ctx, command, nil); err != nil {
		return err
	}
	if err := Wait(ctx, wait); err != nil {
		return err
	}
	clear(into)
	if err := device.Tx(ctx, nil, into); err != nil {
		return err
	}
	for at := 0; at < len(into); at += 3 {
		if want := SensirionChecksum(into[at : at+2]); into[at+2] != want {
			return device.Fault(Garbled, into, fmt.Errorf("checksum %02X, want %02X", into[at+2], want))
		}
	}
	return nil
}

// SensirionWord is the word at the head of b.
func SensirionWord(b []byte) float64 { return float64(uint16(b[0])<<8 | uint16(b[1])) }

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
