package catalog_test

import (
	"bytes"
	"math"
	"strconv"
	"testing"
	"testing/fstest"

	"millwarden/drivers"
	"millwarden/drivers/ads1115/ads1115test"
	"millwarden/drivers/bme280/bme280test"
	"millwarden/drivers/catalog"
	"millwarden/drivers/drivertest"
	"millwarden/drivers/ds18b20/ds18b20test"
	"millwarden/drivers/hwmon/hwmontest"
	"millwarden/drivers/hx711/hx711test"
	"millwarden/drivers/iio/iiotest"
	"millwarden/drivers/lm75/lm75test"
	"millwarden/drivers/max31855/max31855test"
	"millwarden/drivers/max31856/max31856test"
	"millwarden/drivers/max31865/max31865test"
	"millwarden/drivers/max6675/max6675test"
	"millwarden/drivers/mcp9600/mcp9600test"
	"millwarden/drivers/modbus/modbustest"
	"millwarden/drivers/radio/radiotest"
	"millwarden/drivers/scd4x/scd4xtest"
	"millwarden/drivers/sht3x/sht3xtest"
	"millwarden/drivers/sht4x/sht4xtest"
	"millwarden/internal/clock/clocktest"
	"millwarden/internal/phrase"
	"millwarden/rules"
)

// floorText uses every line that the parts declare, written out and left out.
const floorText = `
site small-mill
    timezone        America/Lima
    altitude        1450 m

station tank-1 is tank
station tank-2 is tank
station bin-1 is bin
station bin-2 is bin
station dryer-1 is dryer
station outside is yard
station roastery is room
station hall is room

probe tank-1-thermometer
    part            ds18b20 28-0316a2794bff
    bits            10
    gives           temperature at tank-1
probe tank-2-thermometer
    part            ds18b20 28-0316a279510a
    gives           temperature at tank-2
probe tank-1-electrode
    part            ads1115 on i2c-1 at 0x48
    channel         ain0 range 2.048 V
    electrode       compensated by tank-1/temperature
    gives           ph at tank-1
probe tank-2-electrode
    part            ads1115 on i2c-1 at 0x48
    channel         ain1
    electrode
    gives           ph at tank-2
probe tank-1-level
    part            ads1115 on i2c-1 at 0x48
    channel         ain2
    loop            4-20 mA is 0 .. 100 %
    gives           level at tank-1
probe bin-1-moisture
    part            ads1115 on i2c-1 at 0x49
    channel         ain0 range 4.096 V
    loop            4-20 mA over 150 ohm is 5 .. 25 %wb bands none
    gives           moisture at bin-1
probe dryer-moisture
    part            ads1115 on i2c-1 at 0x49
    channel         ain2-ain3
    table           400 mV is 8 %wb, 900 mV is 15 %wb
    gives           moisture at dryer-1
probe room-air
    part            sht4x on i2c-1 at 0x44
    gives           temperature, humidity at roastery
probe dryer-panel
    part            modbus on tcp 192.0.2.20:502 unit 3
    register        input 0 as int16 x 0.1 °C is air
    register        input 1 as int16 x 0.1 °F is exhaust
    register        holding 12 as float32 swapped x 0.001 kPa is plenum
    contact         coil 4 is fan
    contact         input 5 inverted is burner
    gives           air-temperature at dryer-1 as air
    gives           exhaust-temperature at dryer-1 as exhaust
    gives           plenum-pressure at dryer-1 as plenum
    gives           fan at dryer-1 as fan
    gives           burner at dryer-1 as burner
probe bin-1-radio
    part            radio on topic store/bin-1
    gives           temperature, humidity at bin-1
probe bin-2-radio
    part            radio on topic store/bin-2
    record          t is temperature
    record          rh is humidity
    gives           temperature, humidity at bin-2
probe yard-wind
    part            radio on topic yard/wind
    form            number x 0.1 m/s
    gives           wind at outside

bus room-line is serial
    port            /dev/ttyUSB0
    speed           19200
    parity          even
    stop-bits       2
    quiet           5 ms
bus deck-side is i2c-mux
    behind          i2c-1 at 0x70
    branch          3

station deck-1 is deck
station roaster-1 is roaster
station store-1 is store

probe room-co2
    part            modbus on room-line unit 12
    register        input 0 as uint16 x 10 ppm is co2
    gives           co2 at roastery
probe deck-air
    part            sht4x on deck-side at 0x44
    gives           air-temperature, air-humidity at deck-1
probe store-air
    part            sht3x on i2c-1 at 0x45
    gives           temperature, humidity at store-1
probe yard-air
    part            bme280 on i2c-1 at 0x76
    gives           temperature, humidity at outside
    gives           air-pressure at outside as pressure
probe store-co2
    part            scd4x on i2c-1 at 0x62
    self-calibration on
    gives           co2 at store-1
probe roaster-bean
    part            max31855 on spi-0 select 0
    thermocouple    K
    gives           bean-temperature at roaster-1
    gives           board-side at roaster-1 as junction
probe roaster-exhaust
    part            max31856 on spi-0 select 1
    thermocouple    J averaging 4
    gives           exhaust-temperature at roaster-1
probe roaster-tray
    part            max31865 on spi-0 select 2
    element         pt100 wires 3 reference 400 Ω
    gives           tray-temperature at roaster-1
probe roaster-duct
    part            max6675 on spi-0 select 3
    thermocouple    K
    gives           duct-temperature at roaster-1
probe roaster-wall
    part            mcp9600 on i2c-1 at 0x67
    thermocouple    N
    gives           wall-temperature at roaster-1
probe store-wall
    part            lm75 on i2c-1 at 0x4c
    bits            11
    gives           wall-temperature at store-1
probe bin-wall
    part            tmp102 on i2c-1 at 0x4a
    gives           wall-temperature at bin-1
probe cabinet
    part            hwmon on hwmon device lm75 at 1-0049
    input           temp1 x 0.001 °C is air
    gives           cabinet-temperature at outside as air
probe board-chip
    part            hwmon on hwmon device cpu_thermal
    input           temp1 x 0.001 °C is chip
    gives           chip-temperature at outside as chip
probe hall-air
    part            iio on iio device bme280
    input           in_temp is temperature
    input           in_humidityrelative is humidity
    gives           temperature, humidity at hall
probe dryer-smoke
    part            input on gpiochip0 line 26
    on-when         open
    settle          100 ms
    gives           smoke at dryer-1
probe yard-rainfall
    part            counter on gpiochip0 line 22
    pulse           0.2 mm
    gives           rainfall at outside
probe dryer-scale
    part            hx711 on iio
    gives           weight at dryer-1
probe deck-meter
    part            by-hand
    instrument      "capacitance meter"
    gives           moisture at deck-1
    every           12 h

person ana
    mail            ana@estate.example
`

// mill is one double of every kind, with its truth set.
func mill(t *testing.T, kind drivers.BusKind, name string) drivers.Bus {
	b := drivers.Bus{Name: name}
	switch kind {
	case drivers.I2C:
		b.I2C = wires(name)
	case drivers.SPI:
		bus, bean, exhaust := drivertest.NewSPI(), max31855test.New(), max31856test.New()
		bean.Set(205, 31)
		exhaust.Set(260.5, 30)
		bus.Put(0, bean)
		bus.Put(1, exhaust)
		duct := max6675test.New()
		duct.Set(180)
		bus.Put(3, duct)
		bus.Put(2, max31865test.New(400, max31865test.Platinum(100, 80)))
		b.SPI = bus
	case drivers.GPIO:
		b.GPIO = drivertest.NewGPIO()
	case drivers.IIO:
		board := iiotest.New()
		board.SetAir("temperature", 22.5)
		board.Put("iio:device9/name", "hx711\n")
		board.Put("iio:device9/in_voltage0_raw", strconv.Itoa(8388608+hx711test.Empty+60*hx711test.PerKilogram)+"\n")
		b.IIO = board
	case drivers.HWMon:
		b.HWMon = hwmontest.New()
	case drivers.OneWire:
		tanks := ds18b20test.NewTree()
		tanks.Add("28-0316a2794bff").Set(23.25)
		tanks.Add("28-0316a279510a").Set(22.0625)
		b.OneWire = tanks
	case drivers.Modbus:
		panel := modbustest.New()
		panel.SetInteger(12, drivers.InputRegisters, 0, 1, 85)
		panel.SetInteger(3, drivers.InputRegisters, 0, 1, 425)
		panel.SetInteger(3, drivers.InputRegisters, 1, 1, 950)
		panel.SetFloat(3, drivers.HoldingRegisters, 12, 250, true)
		panel.Set(3, drivers.Coils, 4, 1)
		panel.Set(3, drivers.DiscreteInputs, 5, 1)
		b.Modbus = panel
	case drivers.Radio:
		feed := radiotest.New()
		feed.Publish("store/bin-1", []byte(`[{"bn":"bin-1/","n":"temperature","u":"Cel","v":19.5},{"n":"humidity","u":"%RH","v":61}]`))
		feed.Publish("store/bin-2", []byte(`[{"n":"t","u":"K","v":293.15},{"n":"rh","u":"%RH","v":62}]`))
		feed.Publish("yard/wind", []byte("32"))
		b.Radio = feed
	default:
		t.Fatalf("no bus of kind %s", kind)
	}
	return b
}

// wires is the I2C bus of that name with its parts.
func wires(name string) *drivertest.I2C {
	bus, first, second, air := drivertest.NewI2C(name), ads1115test.New(), ads1115test.New(), sht4xtest.New()
	bus.Put(0x48, first)
	bus.Put(0x49, second)
	bus.Put(0x44, air)
	first.SetVoltage(0, 0.177477) // three times 59.159 mV: pH 4 at 25 °C
	first.SetVoltage(1, 0)
	first.SetVoltage(2, 1.2)  // 12 mA over 100 Ω
	second.SetVoltage(0, 1.2) // 8 mA over 150 Ω
	second.SetVoltage(2, 1.65)
	second.SetVoltage(3, 1.0)
	air.Set(21, 55)
	store, yard, room := sht3xtest.New(), bme280test.New(bme280test.Example), scd4xtest.New()
	store.Set(18, 64)
	yard.Set(16.5, 70, 85.2)
	room.Set(650, 18, 64)
	bus.Put(0x45, store)
	bus.Put(0x76, yard)
	bus.Put(0x62, room)
	wall, bin, couple := lm75test.New(lm75test.TMP75), lm75test.New(lm75test.TMP102), mcp9600test.New()
	wall.Set(17.5)
	bin.Set(16.25)
	couple.Set(95.5, 30)
	bus.Put(0x4c, wall)
	bus.Put(0x4a, bin)
	bus.Put(0x67, couple)
	if name == "deck-side" {
		air.Set(34, 28)
	}
	return bus
}

// want are the values, in base units, worked out by hand from mill.
var want = map[string]float64{
	"tank-1/temperature": 23.25, "tank-2/temperature": 22.0625, "tank-1/ph": 4, "tank-2/ph": 7, "tank-1/level": 50, "bin-1/moisture": 10,
	"dryer-1/moisture": 11.5, "roastery/temperature": 21, "roastery/humidity": 55,
	"dryer-1/air-temperature": 42.5, "dryer-1/exhaust-temperature": 35, "dryer-1/plenum-pressure": 0.25, "dryer-1/fan": 1, "dryer-1/burner": 0,
	"roastery/co2": 850, "deck-1/air-temperature": 34, "deck-1/air-humidity": 28, "store-1/temperature": 18, "store-1/humidity": 64, "store-1/co2": 650,
	"outside/temperature": 16.5, "outside/humidity": 70, "outside/air-pressure": 85.2, "roaster-1/bean-temperature": 205, "roaster-1/board-side": 31,
	"roaster-1/exhaust-temperature": 260.5, "roaster-1/tray-temperature": 80, "dryer-1/smoke": 1, "outside/rainfall": 0, "dryer-1/weight": 60,
	"bin-1/temperature": 19.5, "bin-1/humidity": 61, "bin-2/temperature": 20, "bin-2/humidity": 62, "outside/wind": 3.2,
	"roaster-1/duct-temperature": 180, "roaster-1/wall-temperature": 95.5, "store-1/wall-temperature": 17.5, "bin-1/wall-temperature": 16.25,
	"outside/cabinet-temperature": 27.5, "outside/chip-temperature": 48.3, "hall/temperature": 22.5, "hall/humidity": 50,
}

// Aim: what a technician writes reaches the drivers as they understand it. The whole way of a line is tried: the declaration, the checker's
// reading of it, the driver's Open, one Read from the doubles.
func TestDrivers_understandWhatIsWritten(t *testing.T) {
	words, err := catalog.Declarations()
	if err != nil {
		t.Fatal(err)
	}
	mail, err := phrase.Parse("channel mail\n    phrase server HOST\n")
	if err != nil {
		t.Fatal(err)
	}
	plan, said, sources := rules.Load(fstest.MapFS{"mill.rules": {Data: []byte(floorText)}}, "mill.rules", append(words, mail...))
	if said.HasErrors() {
		var text bytes.Buffer
		_ = said.Print(&text, sources)
		t.Fatal(text.String())
	}
	clocktest.Bubble(t, func(t *testing.T) {
		got := map[string]drivers.Value{}
		opened := map[string]drivers.Bus{}
		for _, p := range plan.Probes {
			driver, ok := catalog.Find(p.Part)
			if !ok {
				t.Fatalf("no driver for %s", p.Part)
			}
			if driver.Bus == drivers.Hand {
				continue // nobody to ask
			}
			site := drivers.Site{Place: phrase.Line{Key: "place", Slots: p.Place}, Lines: p.Settings}
			for _, g := range p.Gives {
				site.Gives = append(site.Gives, drivers.Channel{Name: g.Channel, Quantity: g.Quantity})
			}
			name := driver.BusName(site.Place)
			if _, there := opened[name]; !there {
				opened[name] = mill(t, driver.Bus, name)
			}
			site.Bus = opened[name]
			sample := readOnce(t, driver, site)
			for _, g := range p.Gives {
				for _, v := range sample.Values {
					if v.Channel == g.Channel {
						got[g.Point] = v
					}
					if v.Channel == g.Channel && v.Quantity != g.Quantity {
						t.Errorf("%s is %s, want %s", g.Point, v.Quantity, g.Quantity)
					}
				}
			}
		}
		for point, value := range want {
			v, there := got[point]
			within := 0.01
			if point == "roaster-1/bean-temperature" || point == "roaster-1/duct-temperature" {
				within = 0.15 // half a step of the chip, corrected
			}
			if !there || !(math.Abs(v.Value-value) <= within) {
				t.Errorf("%s = %v (read %t, %s), want %v", point, v.Value, there, v.Cause, value)
			}
		}
		if len(got) != len(want) {
			t.Errorf("%d points were read, want %d", len(got), len(want))
		}
	})
}

func readOnce(t *testing.T, driver drivers.Driver, site drivers.Site) drivers.Sample {
	t.Helper()
	probe, err := driver.Open(t.Context(), site)
	if err != nil {
		t.Fatal(err)
	}
	if c, ok := probe.(drivers.Compensator); ok && c.CompensatedBy() != "" {
		c.Compensate(25, true)
	}
	if c, ok := probe.(drivers.Calibrated); ok && driver.Kind == "hx711" { // a scale is nothing before that
		points := []drivers.CalibrationPoint{{Raw: hx711test.Empty}, {True: 100, Raw: hx711test.Empty + 100*hx711test.PerKilogram}}
		if _, err := c.Calibrate(drivers.Calibration{Points: points}); err != nil {
			t.Fatal(err)
		}
	}
	sample, err := probe.Read(t.Context())
	if err != nil {
		t.Fatalf("%s: %v", probe, err)
	}
	return sample
}
