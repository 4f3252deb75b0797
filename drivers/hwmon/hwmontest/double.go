// Package hwmontest is the double of the kernel's hardware monitoring: the board's own thermometer, two equal thermometers on one I2C bus, and a chip with
// inputs of every kind.
//
// Concurrency: safe for use by several goroutines.
package hwmontest

import (
	"fmt"
	"math"
	"strconv"

	"millwarden/drivers/drivertest"
)

// Board is /sys/class/hwmon.
type Board struct {
	*drivertest.Tree
	air string
}

// New is a board at 48.3 °C whose sensors stand in air of 20 °C and 50 %RH.
func New() *Board {
	b := &Board{Tree: drivertest.NewTree()}
	own := b.device(0, "virtual/thermal/thermal_zone0", "cpu_thermal")
	b.Put(own+"/temp1_input", "48300\n")
	for i, address := range []string{"0048", "0049"} {
		folder := b.device(1+i, "i2c-1/1-"+address, "lm75")
		b.Put(folder+"/temp1_input", strconv.Itoa(26500+i*1000)+"\n")
		b.Put(folder+"/temp1_max", "80000\n")
	}
	b.Plug()
	return b
}

func (b *Board) device(number int, place, name string) string {
	device := fmt.Sprintf("hwmon%d", number)
	folder := "devices/" + place + "/hwmon/" + device
	b.Link(device, folder)
	b.Put(folder+"/name", name+"\n")
	return folder
}

// Plug connects the sensor of air, as hwmon3.
func (b *Board) Plug() { b.connect(3) }

// Renumber gives it another number, as the next start of a board may.
func (b *Board) Renumber(number int) {
	b.Unplug()
	b.connect(number)
}

func (b *Board) connect(number int) {
	b.air = b.device(number, "i2c-1/1-0044", "sht4x")
	b.Set("temp1", 20)
	b.Set("humidity1", 50)
}

// Unplug takes it away.
func (b *Board) Unplug() {
	b.Remove("hwmon3")
	b.Remove(b.air)
}

// Set sets what an input of the sensor of air measures, in °C or %RH.
func (b *Board) Set(input string, value float64) {
	b.Put(b.air+"/"+input+"_input", strconv.Itoa(int(math.Round(value*1000)))+"\n")
}

// Break makes the chip say that an input is broken, or whole again.
func (b *Board) Break(input string, broken bool) {
	text := "0\n"
	if broken {
		text = "1\n"
	}
	b.Put(b.air+"/"+input+"_fault", text)
}
