package catalog_test

import (
	"bytes"
	"math"
	"testing"
	"testing/fstest"
	"testing/synctest"

	"millwarden/drivers"
	"millwarden/drivers/ads1115/ads1115test"
	"millwarden/drivers/catalog"
	"millwarden/drivers/drivertest"
	"millwarden/drivers/ds18b20/ds18b20test"
	"millwarden/drivers/modbus/modbustest"
	"millwarden/drivers/radio/radiotest"
	"millwarden/drivers/sht4x/sht4xtest"
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

person ana
    mail            ana@estate.example
`

// mill is one double of every kind, with its truth set.
func mill(t *testing.T, kind drivers.BusKind, name string) drivers.Bus {
	b := drivers.Bus{Name: name}
	switch kind {
	case drivers.I2C:
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
		b.I2C = bus
	case drivers.OneWire:
		wires := ds18b20test.NewTree()
		wires.Add("28-0316a2794bff").Set(23.25)
		wires.Add("28-0316a279510a").Set(22.0625)
		b.OneWire = wires
	case drivers.Modbus:
		panel := modbustest.New()
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

// want are the values, in base units, worked out by hand from mill.
var want = map[string]float64{
	"tank-1/temperature": 23.25, "tank-2/temperature": 22.0625, "tank-1/ph": 4, "tank-2/ph": 7, "tank-1/level": 50, "bin-1/moisture": 10,
	"dryer-1/moisture": 11.5, "roastery/temperature": 21, "roastery/humidity": 55,
	"dryer-1/air-temperature": 42.5, "dryer-1/exhaust-temperature": 35, "dryer-1/plenum-pressure": 0.25, "dryer-1/fan": 1, "dryer-1/burner": 0,
	"bin-1/temperature": 19.5, "bin-1/humidity": 61, "bin-2/temperature": 20, "bin-2/humidity": 62, "outside/wind": 3.2,
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
	synctest.Test(t, func(t *testing.T) {
		got := map[string]drivers.Value{}
		opened := map[string]drivers.Bus{}
		for _, p := range plan.Probes {
			driver, ok := catalog.Find(p.Part)
			if !ok {
				t.Fatalf("no driver for %s", p.Part)
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
			if !there || !(math.Abs(v.Value-value) <= 0.01) {
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
	sample, err := probe.Read(t.Context())
	if err != nil {
		t.Fatalf("%s: %v", probe, err)
	}
	return sample
}
