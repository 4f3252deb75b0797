package scan

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"

	"millwarden/drivers"
)

// Addresses of an I2C bus that are free for parts [NXP UM10204, 3.1.12: 00h to 07h and 78h to 7Fh are reserved].
const (
	firstAddress = 0x08
	lastAddress  = 0x77
)

// region is what may stand at a range of addresses.
type region struct {
	from, to uint16
	what     string
	parts    []string
	left     string // why nothing is asked there; "" if ask may
	ask      func(p Prober, address uint16) (what string, part string, sure Sure, why string)
}

// regions in the order in which they are looked up; the first that holds an address counts. What else stands at an address is from memory.
var regions = []region{
	{from: 0x20, to: 0x27, what: "perhaps a port expander", left: "outputs may hang on it"},
	{from: 0x30, to: 0x37, what: "perhaps a memory or its write protection", left: "a byte there can be a command that lasts"},
	{from: 0x38, to: 0x38, what: "perhaps an AHT20, a display or a port expander", parts: []string{"aht20"}, left: "outputs may hang on it"},
	{from: 0x39, to: 0x3f, what: "perhaps a display or a port expander", left: "outputs may hang on it"},
	{from: 0x44, to: 0x46, what: "perhaps an air sensor", parts: []string{"sht3x"}, ask: askAir},
	{from: 0x48, to: 0x4b, what: "perhaps a converter or a thermometer", parts: []string{"ads1115", "lm75", "tmp102"}, ask: askConverter},
	{from: 0x4c, to: 0x4f, what: "perhaps a thermometer", parts: []string{"lm75"}, ask: askConverter},
	{from: 0x50, to: 0x5f, what: "perhaps a memory", left: "a byte there can be the begin of a write"},
	{from: 0x62, to: 0x62, what: "perhaps an SCD4x", parts: []string{"scd4x", "mcp9600"}, left: "its commands have two bytes, which another part would take for a write"},
	{from: 0x60, to: 0x67, what: "perhaps an MCP9600", parts: []string{"mcp9600"}, left: "converters that give a voltage stand there too, and a byte is a command to them"},
	{from: 0x68, to: 0x6f, what: "perhaps a clock", left: "to set a clock by mistake is worse than not to know it"},
	{from: 0x70, to: 0x75, what: "perhaps a multiplexer", left: "a byte would open its branches; what is behind it is not seen"},
	{from: 0x76, to: 0x77, what: "perhaps a BME280, or a multiplexer", parts: []string{"bme280"}, ask: askPressure},
}

func (h Host) i2c(ctx context.Context, bus I2CBus) ([]Found, error) {
	var list []Found
	for address := uint16(firstAddress); address <= lastAddress; address++ {
		if err := context.Cause(ctx); err != nil {
			return list, err
		}
		if f, there := h.address(bus, address); there {
			list = append(list, f)
		}
	}
	return list, nil
}

// address tries one address, and asks what is there if that is safe.
func (h Host) address(bus I2CBus, address uint16) (Found, bool) {
	f := Found{Bus: bus.Name, Place: fmt.Sprintf("0x%02x", address), Sure: Unknown, What: "something", Why: "it answers its address",
		Left: "no part of this program stands there"}
	if probe := h.known(bus.Name, f.Place); probe != "" {
		f.What, f.Sure, f.Why, f.Left = "the part of "+probe, Certain, "it stands in the rules", "the gateway may be reading it"
		return f, true
	}
	err := try(bus.Prober, address)
	if errors.Is(err, ErrHeld) {
		f.What, f.Why, f.Left = "a part of the kernel's", "a driver of the kernel has it", "it is read by iio or hwmon, see there"
		return f, true
	}
	if err != nil {
		return f, false
	}
	for _, r := range regions {
		if address < r.from || address > r.to {
			continue
		}
		f.What, f.Parts, f.Left = r.what, r.parts, r.left
		if len(r.parts) > 0 {
			f.Sure = Possible
		}
		if r.ask != nil {
			h.ask(bus, address, r, &f)
		}
		break
	}
	if address >= 0x70 && len(f.Parts) == 0 {
		f.Block = fmt.Sprintf("bus new-branch is i2c-mux  # if it is one; change the name\n    behind          %s at %s\n    branch          0\n", bus.Name, f.Place)
	}
	return f, true
}

func (h Host) ask(bus I2CBus, address uint16, r region, f *Found) {
	what, part, sure, why := r.ask(bus.Prober, address)
	if part == "" {
		f.Left = why
		return
	}
	f.What, f.Parts, f.Sure, f.Why = what, []string{part}, sure, why
}

// try calls an address without data, or reads one byte where memories stand: some of them take a call without data for a command.
func try(p Prober, address uint16) error {
	if address >= 0x30 && address <= 0x37 || address >= 0x50 && address <= 0x5f {
		return p.Tx(address, nil, make([]byte, 1))
	}
	return p.Try(address)
}

// askAir asks for the serial number of an SHT4x, by one byte. An SHT3x does not know that command; its own have two bytes and are not sent.
func askAir(p Prober, address uint16) (what, part string, sure Sure, why string) {
	answer := make([]byte, 6)
	if err := p.Tx(address, []byte{0x89}, nil); err != nil { // [SHT4x datasheet, table 8]
		return "perhaps an SHT3x", "sht3x", Possible, "it does not take the command of an SHT4x"
	}
	if p.Tx(address, nil, answer) != nil {
		return "perhaps an SHT3x", "sht3x", Possible, "it has no serial number as an SHT4x has"
	}
	if drivers.SensirionChecksum(answer[:2]) == answer[2] && drivers.SensirionChecksum(answer[3:5]) == answer[5] && !drivers.Dead(answer) {
		return "an SHT4x", "sht4x", Certain, fmt.Sprintf("serial number %02X%02X%02X%02X with right checksums", answer[0], answer[1], answer[3], answer[4])
	}
	return "", "", Unknown, "its answer is not one of an SHT4x; an SHT3x would be asked by two bytes, which another part would take for a write"
}

// askConverter reads the registers 1 to 3, which tell an ADS1115 from the thermometers.
func askConverter(p Prober, address uint16) (what, part string, sure Sure, why string) {
	var words [4]uint16
	for register := range words {
		var answer [2]byte
		if err := p.Tx(address, []byte{byte(register)}, answer[:]); err != nil {
			return "", "", Unknown, "it does not answer for its registers"
		}
		words[register] = binary.BigEndian.Uint16(answer[:])
	}
	config, low, high := words[1], words[2], words[3]
	why = fmt.Sprintf("registers 1 to 3 are %04X %04X %04X", config, low, high)
	switch {
	case low == 0x8000 && high == 0x7FFF: // [ADS111x SBAS444, 8.1.4]
		return "an ADS1115", "ads1115", Probable, why + ", limits as an ADS1115 powers on"
	case config&0x600F == 0x6000 && low&0x000F == 0 && high&0x000F == 0 && high != 0 && address <= 0x4b: // [TMP102 SBOS397]
		return "a TMP102", "tmp102", Probable, why + ", a configuration that only a TMP102 has"
	case low == 0x4B00 && high == 0x5000: // 75 and 80 °C [LM75 DS012658]
		return "an LM75 or its kin", "lm75", Probable, why + ", limits as an LM75 powers on"
	}
	return "", "", Unknown, why + ", which is none of the parts known there"
}

// askPressure tells a BME280 by its id. To a multiplexer the number of the register would be a mask of branches, so all registers are read first, for
// which nothing need be sent: a multiplexer gives its one register again and again.
func askPressure(p Prober, address uint16) (what, part string, sure Sure, why string) {
	var bytes [256]byte // a BME280 counts on through its registers, wherever it begins
	if err := p.Tx(address, nil, bytes[:]); err != nil {
		return "", "", Unknown, "it gives nothing to read without being asked"
	}
	same := true
	for _, b := range bytes {
		same = same && b == bytes[0]
	}
	if same {
		return "", "", Unknown, "it gives one byte again and again, as a multiplexer does, whose branches a byte would open"
	}
	var id [1]byte
	if err := p.Tx(address, []byte{0xD0}, id[:]); err != nil { // [BME280 datasheet, 5.4.1]
		return "", "", Unknown, "it does not answer for its id"
	}
	switch id[0] {
	case 0x60:
		return "a BME280", "bme280", Certain, "id 60"
	case 0x58:
		return "", "", Unknown, "id 58 is a BMP280, which has no humidity: the kernel's driver shows it by iio"
	}
	return "", "", Unknown, fmt.Sprintf("id %02X is none known", id[0])
}
