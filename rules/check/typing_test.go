package check

import (
	"math"
	"slices"
	"strings"
	"testing"
	"testing/fstest"

	"millwarden/internal/diag"
	"millwarden/internal/units"
	"millwarden/rules/engine"
	"millwarden/rules/formula"
)

// floor is a small mill on which conditions are tried. Two tanks and a third for neighbours, a dryer, a bin, a yard.
const floor = `site small-mill
    timezone        America/Lima
    altitude        1450 m
area wet-mill
station tank-1 is tank
    area            wet-mill
station tank-2 is tank
    area            wet-mill
station tank-3 is tank
    area            wet-mill
station dryer-1 is dryer
station bin-1 is bin
station yard is yard
station roast-room is room
probe t1
    part            ds18b20 28-0316a2794bff
    gives           temperature at tank-1
    every           5 s
probe t2
    part            ds18b20 28-0316a2794b02
    gives           temperature at tank-2
    every           5 s
probe t3
    part            ds18b20 28-0316a2794b03
    gives           temperature at tank-3
    every           5 s
probe e1
    part            ads1115 on i2c-1 at 0x48
    channel         ain0
    electrode       compensated by tank-1/temperature
    gives           ph at tank-1
probe d1
    part            sht4x on i2c-1 at 0x44
    gives           air-temperature, air-humidity at dryer-1
    every           2 s
probe burner
    part            input on gpiochip0 line 17
    gives           burner at dryer-1
probe weight
    part            hx711 on iio
    gives           weight at dryer-1
probe stick
    part            ads1115 on i2c-1 at 0x48
    channel         ain1
    loop            4-20 mA is 5 .. 25 %wb
    gives           moisture at bin-1
probe b1
    part            sht3x on i2c-2 at 0x44
    gives           temperature, humidity at bin-1
probe gas
    part            scd4x on i2c-1 at 0x62
    gives           co2 at roast-room
probe y1
    part            bme280 on i2c-1 at 0x76
    gives           temperature, humidity at yard
outside-watcher
    address         https://watcher.example/mill
`

func loadText(t testing.TB, text string) (*Plan, diag.List) {
	t.Helper()
	plan, list, _ := Load(fstest.MapFS{"mill.rules": {Data: []byte(text)}}, "mill.rules", declared(t))
	return plan, list
}

// conditionAt checks one condition at a station; more are lines of the alarm.
func conditionAt(t testing.TB, station, condition string, more ...string) (*formula.Node, diag.List) {
	t.Helper()
	text := floor + "alarm tried at " + station + "\n    when            " + condition + "\n" + strings.Join(more, "\n") + `
    priority        low
    class           quality
    consequence     "The lot drops a grade."
    action          "Go and look."
    respond-within  45 min
`
	plan, list := loadText(t, text)
	if plan == nil {
		return nil, list
	}
	for _, a := range plan.Engine.Alarms {
		if a.Name == "tried" {
			return a.When, list
		}
	}
	t.Fatalf("%s made no alarm: %v", condition, list)
	return nil, nil
}

func codes(list diag.List, severity diag.Severity) string {
	var found []string
	for _, d := range list {
		if d.Severity == severity {
			found = append(found, d.Code)
		}
	}
	return strings.Join(found, " ")
}

// Aim: every row of the typing table of the language (LANGUAGE.md section 2), each with one that fits and those that are refused; the
// numbers are those of its table of messages.
func TestTyping_table(t *testing.T) {
	for _, tt := range []struct{ station, condition, want string }{
		{"tank-1", "temperature - tank-2/temperature > 3 K", ""},
		{"tank-1", "temperature - tank-2/temperature > 3 °C", ""},                        // °C where a difference is due
		{"tank-1", "temperature - tank-2/temperature > 60 °F", ""},                       //
		{"tank-1", "temperature > tank-2/temperature + 3 °C", ""},                        // after +
		{"tank-1", "temperature - 3 K > 20 °C", ""},                                      //
		{"tank-1", "3 K + temperature > 20 °C", ""},                                      //
		{"tank-1", "temperature + tank-2/temperature > 3 °C", "40"},                      //
		{"tank-1", "temperature * 2 > 40 °C", "41"},                                      //
		{"tank-1", "temperature / 2 > 10 °C", "41"},                                      //
		{"tank-1", "2 * temperature > 10 °C", "41"},                                      //
		{"tank-1", "2 * change(temperature, 1 h) > 10 K", ""},                            // number * Q
		{"tank-1", "change(temperature, 1 h) / 2 > 1 K", ""},                             // Q / number
		{"tank-1", "change(temperature, 1 h) / change(tank-2/temperature, 1 h) > 2", ""}, // Q / Q is a number
		{"tank-1", "change(temperature, 1 h) / age(temperature) > 1 °C/min", ""},         // Q / time is a rate
		{"tank-1", "rise(temperature, 1 h) * age(temperature) > 3 K", ""},                // rate * time
		{"tank-1", "ph + 0.2 > 4.2", ""},                                                 // Q + number only for ph, aw, count
		{"dryer-1", "air-humidity + 2 > 60 %RH", "5"},                                    //
		{"tank-1", "ph + soak-time > 4", "42"},                                           //
		{"tank-1", "ph * soak-time > 4", "42"},                                           //
		{"tank-1", "temperature > 45", "5"},                                              //
		{"tank-1", "temperature > 45 K", "39"},                                           //
		{"tank-1", "temperature > 45 %RH", "37"},                                         //
		{"tank-1", "temperature > ph", "37"},                                             //
		{"tank-1", "45 °C < temperature", ""},                                            //
		{"tank-1", "4 pH < 5 pH", "43"},                                                  //
		{"bin-1", "moisture > 12 %", "38"},                                               //
		{"bin-1", "moisture > 12 %db", ""},                                               //
		{"bin-1", "moisture > 11 %wb + 1 %db", "76"},                                     //
		{"bin-1", "humidity > 65 %", ""},                                                 // % beside a humidity
		{"bin-1", "water-activity > 0.7", ""},                                            // a plain number beside aw
		{"roast-room", "co2 > 0.1 %", ""},                                                // % by volume
		{"roast-room", "co2 > 5000 ppb", ""},                                             //
		{"dryer-1", "burner", "49"},                                                      //
		{"dryer-1", "burner is on", ""},                                                  //
		{"dryer-1", "burner is not off", ""},                                             //
		{"dryer-1", "burner > 0", "49"},                                                  //
		{"tank-1", "loaded", ""},                                                         //
		{"tank-1", "loaded > 0", "48"},                                                   //
		{"tank-1", "ph", "47"},                                                           //
		{"tank-1", "4.2 pH", "47"},                                                       //
		{"tank-1", "ph is bad or ph is overdue", ""},                                     //
		{"tank-1", "(ph + 1) is bad", "48"},                                              //
		{"tank-1", "ph is on", "46"},                                                     //
		{"tank-1", "watched > 1 h", "48"},                                                //
		{"tank-1", "soak-time > 10", "5"},                                                //
		{"tank-1", "soak-time > 1 h 30 min", ""},                                         //
		{"tank-1", "ph < 4.2 and not (loaded or night)", ""},                             //
		{"tank-1", "time-above(temperature, 30 °C, 6 h) > 40 min", ""},                   //
		{"tank-1", "time-above(temperature, 30 K, 6 h) > 40 min", "39"},                  //
		{"tank-1", "heat-above(temperature, 30 °C, 6 h) > 12 degree-hours", ""},          //
		{"tank-1", "heat-above(ph, 4, 6 h) > 12 degree-hours", "51"},                     //
		{"dryer-1", "time-on(burner, 3 h) > 2 h", ""},                                    //
		{"dryer-1", "time-on(air-temperature, 3 h) > 2 h", "51"},                         //
		{"tank-1", "times(washed, 6 h) > 3", ""},                                         //
		{"tank-1", "times(washed, 6 h) > 3 h", "37"},                                     //
		{"tank-1", "time-since(tank-2/washed) > 3 h", ""},                                //
		{"tank-1", "count(each tank/loaded) > 1", ""},                                    //
		{"tank-1", "count(each tank/temperature) > 1", "48"},                             //
		{"tank-1", "mean(each tank/temperature) > 20 °C", ""},                            //
		{"tank-1", "spread(each tank/temperature) > 5 K", ""},                            //
		{"tank-1", "spread(each tank/temperature) > 5 pH", "37"},                         //
		{"tank-1", "mean(each roaster/bean-temperature) > 20 °C", "56"},                  //
		{"tank-1", "neighbours(temperature) < temperature - 2 K", ""},                    //
		{"bin-1", "neighbours(temperature) < temperature - 2 K", "56"},                   //
		{"tank-1", "mean(ph, 30 min) > mean(ph, 30 min, 24 h ago) + 0.3", ""},            //
		{"tank-1", "mean(ph, 30 min, 24 h) > 4", "51"},                                   //
		{"tank-1", "mean(ph + 1, 30 min) > 4", "51"},                                     //
		{"tank-1", "mean(loaded, 30 min) > 4", "48"},                                     //
		{"tank-1", "apart(ph, temperature) > 4", "37"},                                   //
		{"tank-1", "apart(temperature, tank-2/temperature) > 4 °C", ""},                  //
		{"tank-1", "vote(temperature, tank-2/temperature, 1.5 K) > 20 °C", ""},           //
		{"tank-1", "vote(temperature, tank-2/temperature, 1.5 pH) > 20 °C", "79"},        //
		{"tank-1", "wash-in < until(06:00) and not watched(wash-in)", ""},                //
		{"tank-1", "not watched(ph)", "51"},                                              //
		{"tank-1", "during(22:00-05:00)", ""},                                            //
		{"tank-1", "during(22:00)", "51"},                                                //
		{"tank-1", "rise(temperature, 30 s) > 1 °C/min", ""},                             // 6 readings
		{"tank-1", "rise(temperature, 15 s) > 1 °C/min", "52"},                           // 3 readings
		{"tank-1", "mean(temperature, 32 d) > 20 °C", "18"},                              //
		{"tank-1", "mean(temperature, 500 ms) > 20 °C", "18"},                            //
		{"tank-1", "temperature > 130 °C", "57"},                                         // part reads -55 .. 125
		{"tank-1", "temperature >= 125 °C", ""},                                          //
		{"tank-1", "temperature > 125 °C", "57"},                                         //
		{"tank-1", "temperature < 130 °C", "58"},                                         //
		{"tank-1", "temperature > 257 °F", "57"},                                         // 125 °C
		{"tank-1", "temperature > 30 °C and temperature < 30 °C", "59"},                  //
		{"tank-1", "temperature > 30 °C and temperature < 31 °C", ""},                    //
		{"tank-1", "temperature > 30 °C or temperature < 20 °C", ""},                     //
		{"tank-1", "20 °C > temperature and temperature > 25 °C", "59"},                  //
		{"tank-1", "yard/temperature < temperature", ""},                                 //
		{"tank-1", "roaster/bean-temperature > 200 °C", "55"},                            //
		{"tank-1", "i2c-1/answers and t1/calibration-age > 3 d", "53"},                   // t1 is not calibrated
		{"tank-1", "not i2c-1/answers and e1/slope < 85 %", ""},                          //
		{"tank-1", "board/disk-free < 10 %", ""},                                         //
		{"tank-1", "median(temperature) > 20 °C", "50"},                                  //
	} {
		_, list := conditionAt(t, tt.station, tt.condition)
		if got := codes(list, diag.Error); got != tt.want {
			t.Errorf("at %s, %s: messages %q, want %q\n%v", tt.station, tt.condition, got, tt.want, list)
		}
	}
}

// Aim: values are converted at load. Expected values from the definitions: 9 °F are 5 K, 0 °C is 32 °F; wb = 100 db/(100 + db)
// (LANGUAGE.md section 2); 1 % by volume is 10,000 ppm.
func TestTyping_baseUnits(t *testing.T) {
	for _, tt := range []struct {
		station, condition string
		want               float64
		quantity           units.Quantity
	}{
		{"tank-1", "temperature > 86 °F", 30, units.Temperature},
		{"tank-1", "temperature - tank-2/temperature > 9 °F", 5, units.Difference},
		{"tank-1", "rise(temperature, 1 h) > 6 °C/min", 0.1, units.Temperature.Rate()},
		{"tank-1", "rise(temperature, 1 h) > 18 °F/h", 10.0 / 3600, units.Temperature.Rate()},
		{"bin-1", "moisture > 25 %db", 20, units.Moisture},
		{"roast-room", "co2 > 0.1 %", 1000, units.Concentration},
		{"tank-1", "soak-time > 1 h 30 min", 5400, units.Duration},
		{"dryer-1", "weight > 100 lb", 45.359237, units.Mass}, // NIST SP 811 appendix B.8
	} {
		n, list := conditionAt(t, tt.station, tt.condition)
		if n == nil {
			t.Errorf("%s: %v", tt.condition, list)
			continue
		}
		limit := n.Args[1]
		if math.Abs(limit.Value-tt.want) > 1e-9*math.Max(1, tt.want) || limit.Quantity != tt.quantity {
			t.Errorf("%s: limit is %v of %v, want %v of %v", tt.condition, limit.Value, limit.Quantity, tt.want, tt.quantity)
		}
	}
}

// Aim: the deadbands of the table in section 2 of the language, given ones, and their limits.
func TestTyping_deadbands(t *testing.T) {
	for _, tt := range []struct {
		station, condition, more string
		want                     float64
	}{
		{"tank-1", "temperature > 30 °C", "", 0.5},
		{"tank-1", "temperature - tank-2/temperature > 3 K", "", 0.3},
		{"tank-1", "ph < 4.2", "", 0.1},
		{"dryer-1", "air-humidity > 60 %RH", "", 1},
		{"bin-1", "moisture > 12 %wb", "", 0.2},
		{"bin-1", "water-activity > 0.7", "", 0.01},
		{"roast-room", "co2 > 4000 ppm", "", 80},               // 2 % of the limit
		{"dryer-1", "weight > 200 kg", "", 4},                  //
		{"tank-1", "rise(temperature, 1 h) > 1 °C/s", "", 0.1}, // 10 % of the limit
		{"tank-1", "soak-time > 10 h", "", 0},                  // none
		{"tank-1", "count(each tank/loaded) > 1", "", 0},       //
		{"board", "disk-free < 10 %", "", 0},                   //
		{"tank-1", "temperature > 30 °C", "    deadband 2 °F", 10.0 / 9},
		{"tank-1", "temperature > 30 °C", "    deadband 1 K, 0.2 pH", 1}, // the pH fits nothing, see below
		{"tank-1", "temperature > 30 °C", "    deadband none", 0},
		{"bin-1", "water-activity > 0.7", "    deadband 0.02", 0.02},
	} {
		n, list := conditionAt(t, tt.station, tt.condition, tt.more)
		if strings.Contains(tt.more, "pH") {
			if got := codes(list, diag.Error); got != "61" {
				t.Errorf("%s with %s: messages %q, want 61", tt.condition, tt.more, got)
			}
			continue
		}
		if n == nil {
			t.Errorf("%s %s: %v", tt.condition, tt.more, list)
			continue
		}
		if math.Abs(n.Deadband-tt.want) > 1e-12 {
			t.Errorf("%s %s: deadband %v, want %v", tt.condition, tt.more, n.Deadband, tt.want)
		}
	}
}

// Aim: a gate has no deadband (LANGUAGE.md section 4).
func TestTyping_noDeadbandInGates(t *testing.T) {
	text := floor + `prompt tried at tank-1
    when            ph < 4.2
    while           temperature > 20 °C
    say             "Look."
`
	plan, list := loadText(t, text)
	if plan == nil {
		t.Fatal(list)
	}
	a := plan.Engine.Alarms[0]
	if a.When.Deadband != 0.1 || a.While.Deadband != 0 {
		t.Errorf("deadbands are %v in when and %v in while, want 0.1 and 0", a.When.Deadband, a.While.Deadband)
	}
}

// Aim: what is said about a formula stands within it, for every condition of the table; no text is left with an empty slot.
func TestMessages_areWhole(t *testing.T) {
	for number, m := range messages {
		if m.says == "" {
			t.Errorf("message %s says nothing", number)
		}
	}
	if len(messages) != 81+21+1 {
		t.Errorf("there are %d messages, want 103 (LANGUAGE.md section 8)", len(messages))
	}
	if got, want := fill("{a} is[ not {b}]. {near}", facts{"a": "x"}), "x is. "; got != want {
		t.Errorf("fill() = %q, want %q", got, want)
	}
	if got, want := fill("It is written: {p}.", facts{"p": "a [b] {c}"}), "It is written: a [b] {c}."; got != want {
		t.Errorf("fill() = %q, want %q", got, want)
	}
}

// Aim: who reads by hand what the kind of its station does not know is asked for it in the right unit: that of the name at other kinds, else that of the probe's range.
func TestGives_aNameOfOnesOwn(t *testing.T) {
	for _, c := range []struct {
		name, more string
		want       units.Quantity
	}{
		{"moisture", "", units.Moisture}, // of decks, dryers and bins
		{"moisture", "    range           5 .. 60 %wb\n", units.Moisture},
		{"rinse-ph", "    range           2 .. 9 pH\n", units.PH},
		{"rinse-warmth", "    range           2 .. 90 °F\n", units.Temperature}, // not a difference
		{"brix", "    range           1 .. 30\n", units.Count},
		{"brix", "", units.Count},
		{"ph", "", units.PH},
	} {
		plan, list := loadText(t, "site s\n    timezone        UTC\n\nstation tank-1 is tank\n\nprobe sampler\n    part            by-hand\n    gives           "+c.name+" at tank-1\n"+c.more)
		if plan == nil {
			t.Errorf("%s %s is refused: %v", c.name, c.more, list)
		} else if got, _ := plan.Point("tank-1/" + c.name); got == nil || got.Quantity != c.want {
			t.Errorf("%s %s: %+v, want %v", c.name, c.more, got, c.want)
		}
	}
	if plan, list := loadText(t, "site s\n    timezone        UTC\n\nstation tank-1 is tank\n\nprobe sampler\n    part            by-hand\n    gives           moisture at tank-1\n    range           5 .. 60 °C\n"); plan != nil || len(list) == 0 {
		t.Errorf("a moisture in degrees is taken: %v", list)
	}
}

// Aim: what can never be known suppresses nothing [the specification: unknown does not suppress]: a tank without electrode keeps the prompt by time, which one with an electrode has
// only while its pH does not say more.
func TestSuppressedWhile_ofALackingPoint(t *testing.T) {
	for _, c := range []struct {
		gives string
		want  bool
	}{{"temperature", false}, {"temperature, ph", true}} {
		plan, list := loadText(t, "site s\n    timezone        UTC\n\nuse fermentation\n\nstation tank-1 is tank\n\nprobe hand\n    part            by-hand\n    gives           "+c.gives+" at tank-1\n")
		if plan == nil {
			t.Fatal(list)
		}
		i := slices.IndexFunc(plan.Engine.Alarms, func(a engine.Alarm) bool { return a.ID == "nearly-ready-by-time@tank-1" })
		if i < 0 || (plan.Engine.Alarms[i].SuppressedWhile != nil) != c.want {
			t.Errorf("a tank with %s: prompt %d, suppressed at times: %v", c.gives, i, i >= 0 && plan.Engine.Alarms[i].SuppressedWhile != nil)
		}
	}
}
