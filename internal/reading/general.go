package reading

import (
	"bytes"
	"encoding/base64"
	"encoding/json"
	"io"
	"strings"
	"time"
	"unicode/utf8"
)

// decodeGeneral reads any JSON pack with encoding/json and says what is wrong with it.
func decodeGeneral(data []byte, now time.Time, into []Record) ([]Record, error) {
	if !utf8.Valid(data) {
		return into, refuse("pack is not UTF-8")
	}
	d := json.NewDecoder(bytes.NewReader(data))
	if err := expect(d, '['); err != nil {
		return into, err
	}
	r := resolver{now: now}
	records := into
	for d.More() {
		var f fields
		if err := generalRecord(d, &f); err != nil {
			return into, refuse("record %d: %w", r.records+1, err)
		}
		var err error
		if records, err = r.add(&f, records); err != nil {
			return into, err
		}
	}
	if err := expect(d, ']'); err != nil {
		return into, err
	}
	if _, err := d.Token(); err != io.EOF {
		return into, refuse("something follows the pack")
	}
	if r.records == 0 {
		return into, refuse("pack without a record")
	}
	return records, nil
}

func expect(d *json.Decoder, want json.Delim) error {
	token, err := d.Token()
	if err != nil {
		return refuse("pack is no JSON: %w", err)
	}
	if token != want {
		return refuse("pack is not an array of records: %v where %v is due", token, want)
	}
	return nil
}

func generalRecord(d *json.Decoder, f *fields) error {
	token, err := d.Token()
	if err != nil {
		return err
	}
	if token != json.Delim('{') {
		return refuse("%v is no record", token)
	}
	for d.More() {
		token, err := d.Token()
		if err != nil {
			return err
		}
		label, _ := token.(string) // the decoder gives nothing else here
		var value json.RawMessage
		if err := d.Decode(&value); err != nil {
			return err
		}
		if err := generalField(label, value, f); err != nil {
			return err
		}
	}
	_, err = d.Token()
	return err
}

func generalField(label string, raw json.RawMessage, f *fields) error {
	bit, target := f.byLabel(label)
	if bit == 0 {
		return unknownLabel(label)
	}
	if f.has&bit != 0 {
		return refuse("label %q stands twice", label)
	}
	f.has |= bit
	var err error
	switch target := target.(type) {
	case *float64:
		err = asNumber(raw, target)
	case *bool:
		err = asTruth(raw, target)
	case *[]byte:
		var text string
		if err = asText(raw, &text); err == nil {
			*target = []byte(text)
		}
		if err == nil && bit == hasData {
			*target, err = base64.RawURLEncoding.Strict().DecodeString(text)
		}
	}
	if err != nil {
		return refuse("label %q: %w", label, err)
	}
	return nil
}

// unknownLabel: they are ignored, but for those whose end says that they must be understood [RFC 8428 section 4.4].
func unknownLabel(label string) error {
	if strings.HasSuffix(label, "_") {
		return refuse("label %q must be understood, and is not known", label)
	}
	return nil
}

func (f *fields) byLabel(label string) (field, any) {
	switch label {
	case "bn":
		return hasBaseName, &f.baseName
	case "bt":
		return hasBaseTime, &f.baseTime
	case "bu":
		return hasBaseUnit, &f.baseUnit
	case "bv":
		return hasBaseValue, &f.baseValue
	case "bs":
		return hasBaseSum, &f.baseSum
	case "bver":
		return hasVersion, &f.version
	case "n":
		return hasName, &f.name
	case "u":
		return hasUnit, &f.unit
	case "v":
		return hasValue, &f.value
	case "vs":
		return hasText, &f.text
	case "vb":
		return hasTruth, &f.truth
	case "vd":
		return hasData, &f.data
	case "s":
		return hasSum, &f.sum
	case "t":
		return hasTime, &f.at
	case "ut":
		return hasUpdate, &f.next
	}
	return 0, nil
}

// asNumber, asTruth, asText: encoding/json leaves the target alone at null, which is no value here.
func asNumber(raw json.RawMessage, into *float64) error {
	if len(raw) == 0 || raw[0] != '-' && (raw[0] < '0' || raw[0] > '9') {
		return refuse("%s is no number", raw)
	}
	return json.Unmarshal(raw, into)
}

func asTruth(raw json.RawMessage, into *bool) error {
	if s := string(raw); s != "true" && s != "false" {
		return refuse("%s is neither true nor false", raw)
	}
	return json.Unmarshal(raw, into)
}

func asText(raw json.RawMessage, into *string) error {
	if len(raw) == 0 || raw[0] != '"' {
		return refuse("%s is no text", raw)
	}
	return json.Unmarshal(raw, into)
}
