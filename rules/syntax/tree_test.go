package syntax

import (
	"fmt"
	"reflect"
	"strings"
)

// dump prints a tree without positions, so that two can be compared. Marks that the layout adds or drops are left out.
func dump(f *File) string {
	var b strings.Builder
	walk(reflect.ValueOf(f.Blocks), 0, func(depth int, v reflect.Value) bool {
		switch x := v.Interface().(type) {
		case Token:
			if x.Kind != None {
				text := x.Word()
				if x.Kind == Unit {
					text = printedUnit(x.Text())
				}
				fmt.Fprintf(&b, "%*s%d %s\n", depth, "", x.Kind, text)
			}
			return false
		case bool, string:
			fmt.Fprintf(&b, "%*s%v\n", depth, "", x)
			return false
		}
		fmt.Fprintf(&b, "%*s%s\n", depth, "", v.Type())
		return true
	})
	for _, c := range f.Comments {
		b.WriteString(c.Text + "\n")
	}
	return b.String()
}

// walk visits all values of a tree, and goes below those for which visit says so.
func walk(v reflect.Value, depth int, visit func(int, reflect.Value) bool) {
	switch v.Kind() {
	case reflect.Interface, reflect.Pointer:
		if !v.IsNil() {
			walk(v.Elem(), depth, visit)
		}
		return
	case reflect.Slice:
		for i := range v.Len() {
			walk(v.Index(i), depth+1, visit)
		}
		return
	}
	if !v.CanInterface() || !visit(depth, v) || v.Kind() != reflect.Struct {
		return
	}
	for i := range v.NumField() {
		if name := v.Type().Field(i).Name; name != "Head" { // the same again, with marks
			walk(v.Field(i), depth+1, visit)
		}
	}
}

// unknownUnits are the words behind numbers that are no units: the checker's to say.
func unknownUnits(f *File) []string {
	var found []string
	walk(reflect.ValueOf(f.Blocks), 0, func(_ int, v reflect.Value) bool {
		if m, ok := v.Interface().(Measure); ok && m.Unit.Given() && m.Unit.Kind != Unit {
			found = append(found, m.Unit.Text())
		}
		return true
	})
	return found
}
