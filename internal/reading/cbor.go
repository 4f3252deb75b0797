package reading

import (
	"math"
	"math/big"
	"time"

	"github.com/fxamacker/cbor/v2"
)

// cborMode: definite lengths, labels once, and nothing nested beyond what a record could hold [RFC 8428 section 6].
var cborMode = func() cbor.DecMode {
	mode, err := cbor.DecOptions{
		DupMapKey:        cbor.DupMapKeyEnforcedAPF,
		IndefLength:      cbor.IndefLengthForbidden,
		UTF8:             cbor.UTF8RejectInvalid,
		MaxNestedLevels:  8,
		MaxArrayElements: 1 << 16,
		BigIntDec:        cbor.BigIntDecodeValue,
	}.DecMode()
	if err != nil {
		panic(err) // the options are constants; TestDecodeCBOR_example would not start
	}
	return mode
}()

// cborLabels are the numbers that stand for the JSON labels [RFC 8428 table 4].
var cborLabels = map[int64]string{
	-6: "bs", -5: "bv", -4: "bu", -3: "bt", -2: "bn", -1: "bver",
	0: "n", 1: "u", 2: "v", 3: "vs", 4: "vb", 5: "s", 6: "t", 7: "ut", 8: "vd",
}

// DecodeCBOR reads a pack in CBOR form [RFC 8428 section 6] as strictly as DecodeSenML reads JSON.
func DecodeCBOR(data []byte, now time.Time, into []Record) ([]Record, error) {
	if len(data) > MaxPack {
		return into, refuse("pack of %d bytes, at most %d are read", len(data), MaxPack)
	}
	var pack []map[any]any
	if err := cborMode.Unmarshal(data, &pack); err != nil {
		return into, refuse("pack is no array of records in CBOR: %w", err)
	}
	if len(pack) == 0 {
		return into, refuse("pack without a record")
	}
	r := resolver{now: now}
	records := into
	for i, written := range pack {
		var f fields
		for label, value := range written {
			if err := cborField(label, value, &f); err != nil {
				return into, refuse("record %d: %w", i+1, err)
			}
		}
		var err error
		if records, err = r.add(&f, records); err != nil {
			return into, err
		}
	}
	return records, nil
}

func cborField(label, value any, f *fields) error {
	name := ""
	switch label := label.(type) {
	case uint64:
		if label <= 8 {
			name = cborLabels[int64(label)]
		}
	case int64:
		name = cborLabels[label]
	case string:
		if bit, _ := f.byLabel(label); bit != 0 {
			return refuse("label %q is written as text, in CBOR it is a number", label)
		}
		return unknownLabel(label)
	}
	bit, target := f.byLabel(name)
	if bit == 0 {
		return nil
	}
	f.has |= bit
	ok := false
	switch target := target.(type) {
	case *float64:
		*target, ok = cborNumber(value)
	case *bool:
		*target, ok = value.(bool)
	case *[]byte:
		if bit == hasData {
			*target, ok = value.([]byte)
			break
		}
		var text string
		text, ok = value.(string)
		*target = []byte(text)
	}
	if !ok {
		return refuse("label %q: %v (%T) does not fit", name, value, value)
	}
	return nil
}

// cborNumber takes integers, floats of any size and decimal fractions (tag 4), as long as a double can hold them.
func cborNumber(value any) (float64, bool) {
	switch value := value.(type) {
	case float64:
		return value, !math.IsNaN(value) && !math.IsInf(value, 0)
	case uint64:
		return float64(value), true
	case int64:
		return float64(value), true
	case big.Int:
		number, _ := new(big.Float).SetInt(&value).Float64()
		return number, !math.IsInf(number, 0)
	case cbor.Tag:
		return decimalFraction(value)
	}
	return 0, false
}

// decimalFraction is [exponent, mantissa] with base ten [RFC 8949 section 3.4.4].
func decimalFraction(tag cbor.Tag) (float64, bool) {
	const decimal = 4
	pair, ok := tag.Content.([]any)
	if tag.Number != decimal || !ok || len(pair) != 2 {
		return 0, false
	}
	exponent, ok1 := cborNumber(pair[0])
	mantissa, ok2 := cborNumber(pair[1])
	if !ok1 || !ok2 || math.Abs(exponent) > 22 || math.Abs(mantissa) > 1<<53 || exponent != math.Trunc(exponent) || mantissa != math.Trunc(mantissa) {
		return 0, false
	}
	if exponent < 0 {
		return mantissa / tens[int(-exponent)], true
	}
	value := mantissa * tens[int(exponent)]
	return value, !math.IsInf(value, 0)
}
