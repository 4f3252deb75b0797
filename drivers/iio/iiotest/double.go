// Package iiotest is the double of the kernel's industrial input devices: a board with two equal converters on one bus, an air sensor that gives processed
// values, and a sensor of carbon dioxide.
//
// Concurrency: safe for use by several goroutines.
package iiotest

import (
	"fmt"
	"math"
	"strconv"

	"millwarden/drivers/drivertest"
)

// Board is /sys/bus/iio/devices.
type Board struct {
	*drivertest.Tree
	air string
}

// New is a board whose sensors stand in air of 20 °C, 50 %RH, 85 kPa and 500 ppm.
func New() *Board {
	b := &Board{Tree: drivertest.NewTree()}
	for i, address := range []string{"0048", "0049"} {
		folder := b.device(i, "1-"+address, "ads1015")
		b.Put(folder+"/in_voltage0_raw", strconv.Itoa(1000*(i+1))+"\n")
		b.Put(folder+"/in_voltage0_scale", "2.000000\n")
		b.Put(folder+"/in_voltage1_raw", "-7\n")
		b.Put(folder+"/in_voltage_scale", "3.000000\n")
	}
	gas := b.device(2, "1-0062", "scd4x")
	b.Put(gas+"/in_concentration_co2_raw", "500\n")
	b.Put(gas+"/in_concentration_co2_scale", "0.000100\n") // the kernel counts in per cent
	b.Put(gas+"/in_temp_raw", "26214\n")
	b.Put(gas+"/in_temp_offset", "-16852\n")
	b.Put(gas+"/in_temp_scale", "2.670288\n") // 175000 / 65536
	b.Renumber(3)
	b.SetAir("temperature", 20)
	b.SetAir("humidity", 50)
	b.SetAir("pressure", 85)
	return b
}

// device lays out a folder as the kernel does: a link to where the device stands on its bus.
func (b *Board) device(number int, place, name string) string {
	device := fmt.Sprintf("iio:device%d", number)
	folder := "devices/i2c-1/" + place + "/" + device
	b.Link(device, folder)
	b.Put(folder+"/name", name+"\n")
	return folder
}

// Renumber gives the air sensor another number, as the next start of a board may.
func (b *Board) Renumber(number int) {
	old := b.air
	b.air = b.device(number, "1-0076", "bme280")
	if old != "" && old != b.air {
		b.Remove(fmt.Sprintf("iio:device%d", 3))
		b.Remove(old)
	}
	for _, file := range []string{"in_temp_input", "in_humidityrelative_input", "in_pressure_input"} {
		b.Put(b.air+"/"+file, "0\n")
	}
}

// Unplug takes the air sensor away, and Plug brings it back.
func (b *Board) Unplug() { b.Remove("iio:device3"); b.Remove(b.air) }

// Plug brings the air sensor back.
func (b *Board) Plug() { b.Renumber(3) }

// SetAir sets the truth of the air sensor: temperature in °C, humidity in %RH, pressure in kPa.
func (b *Board) SetAir(what string, value float64) {
	file, number := "/in_pressure_input", fmt.Sprintf("%.9f", value)
	switch what {
	case "temperature":
		file, number = "/in_temp_input", strconv.Itoa(int(math.Round(value*1000)))
	case "humidity":
		file, number = "/in_humidityrelative_input", strconv.Itoa(int(math.Round(value*1000)))
	}
	b.Put(b.air+file, number+"\n")
}

// Rename gives the air sensor's device another name.
func (b *Board) Rename(name string) { b.Put(b.air+"/name", name+"\n") }
