package markup

import (
	"cmp"
	"errors"
	"fmt"
	"reflect"
)

// builtins are the functions of every page. and, or are known to the filling itself: they do not look at all of their values.
var builtins = map[string]any{
	"and":    true,
	"or":     true,
	"not":    denied,
	"eq":     comparison(func(c int) bool { return c == 0 }),
	"ne":     comparison(func(c int) bool { return c != 0 }),
	"lt":     comparison(func(c int) bool { return c < 0 }),
	"gt":     comparison(func(c int) bool { return c > 0 }),
	"len":    length,
	"printf": printed,
	"call":   called,
}

func want(v []reflect.Value, n int) error {
	if len(v) != n {
		return fmt.Errorf("takes %d values, not %d", n, len(v))
	}
	return nil
}

func denied(v []reflect.Value) (reflect.Value, error) {
	if err := want(v, 1); err != nil {
		return reflect.Value{}, err
	}
	return reflect.ValueOf(!truth(v[0])), nil
}

func called(v []reflect.Value) (reflect.Value, error) {
	if len(v) == 0 {
		return reflect.Value{}, errors.New("needs a function")
	}
	return invoke("call", v[0], v[1:])
}

// truth is false for what is empty: false, 0, "", nil, a list of nothing.
func truth(v reflect.Value) bool {
	if v.IsValid() && v.Kind() == reflect.Interface {
		v = v.Elem()
	}
	if !v.IsValid() {
		return false
	}
	switch v.Kind() {
	case reflect.Slice, reflect.Map, reflect.String, reflect.Array:
		return v.Len() > 0
	case reflect.Struct:
		return true
	}
	return !v.IsZero()
}

func comparison(holds func(int) bool) func([]reflect.Value) (reflect.Value, error) {
	return func(v []reflect.Value) (reflect.Value, error) {
		if err := want(v, 2); err != nil {
			return reflect.Value{}, err
		}
		c, err := compare(direct(v[0]), direct(v[1]))
		return reflect.ValueOf(holds(c)), err
	}
}

// compare orders two values of one kind; whole numbers may have any size.
func compare(a, b reflect.Value) (int, error) {
	switch {
	case !a.IsValid() || !b.IsValid():
	case a.Kind() == reflect.String && b.Kind() == reflect.String:
		return cmp.Compare(a.String(), b.String()), nil
	case a.CanInt() && b.CanInt():
		return cmp.Compare(a.Int(), b.Int()), nil
	case a.CanFloat() && b.CanFloat():
		return cmp.Compare(a.Float(), b.Float()), nil
	case a.CanUint() && b.CanInt() && b.Int() >= 0:
		return cmp.Compare(a.Uint(), uint64(b.Int())), nil //nolint:gosec // it is not below 0
	case a.CanUint() && b.CanUint():
		return cmp.Compare(a.Uint(), b.Uint()), nil
	}
	return 0, errors.New("these two cannot be compared")
}

func length(v []reflect.Value) (reflect.Value, error) {
	if err := want(v, 1); err != nil {
		return reflect.Value{}, err
	}
	switch of := direct(v[0]); of.Kind() {
	case reflect.Slice, reflect.Array, reflect.Map, reflect.String:
		return reflect.ValueOf(of.Len()), nil
	}
	return reflect.Value{}, errors.New("it has no length")
}

func printed(v []reflect.Value) (reflect.Value, error) {
	if len(v) == 0 || v[0].Kind() != reflect.String {
		return reflect.Value{}, errors.New("needs a format")
	}
	args := make([]any, 0, len(v))
	for _, a := range v[1:] {
		if a.IsValid() {
			args = append(args, a.Interface())
		} else {
			args = append(args, nil)
		}
	}
	return reflect.ValueOf(fmt.Sprintf(v[0].String(), args...)), nil
}
