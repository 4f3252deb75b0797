package drivers

import (
	"errors"
	"fmt"
	"io/fs"
	"math"
	"slices"
	"strconv"
	"strings"
)

// FindDevice gives the folder of a kernel device in a tree such as /sys/bus/iio/devices, whose file "name" holds name. Numbers in the names of the folders
// change from one start of the board to the next, so they are never used. at tells one of several of that name: a part of the path to which the
// folder's link leads, "1-0048" for address 48h on i2c-1; "" if there is but one. Errors: one for which errors.Is(err, fs.ErrNotExist) holds if none is
// there, one for which errors.Is(err, ErrAmbiguous) holds if several are, or what the tree says.
func FindDevice(tree fs.FS, name, at string) (string, error) {
	folders, err := fs.ReadDir(tree, ".")
	if err != nil {
		return "", err
	}
	var found []string
	for _, f := range folders {
		is, err := isDevice(tree, f.Name(), name, at)
		if err != nil {
			return "", err
		}
		if is {
			found = append(found, f.Name())
		}
	}
	switch len(found) {
	case 0:
		return "", fmt.Errorf("the kernel shows no %s%s; is its driver loaded and the wiring described to it? %w", name, orAt(at), fs.ErrNotExist)
	case 1:
		return found[0], nil
	}
	return "", fmt.Errorf("%w: %s are all %s%s; say which by: at PATH", ErrAmbiguous, strings.Join(found, ", "), name, orAt(at))
}

// ErrAmbiguous is in the error of FindDevice if several devices fit.
var ErrAmbiguous = errors.New("nothing tells which")

func orAt(at string) string {
	if at == "" {
		return ""
	}
	return " at " + at
}

func isDevice(tree fs.FS, folder, name, at string) (bool, error) {
	text, err := fs.ReadFile(tree, folder+"/name")
	if errors.Is(err, fs.ErrNotExist) {
		return false, nil // a trigger or a bus, no device
	}
	if err != nil || strings.TrimSpace(string(text)) != name {
		return false, err
	}
	if at == "" {
		return true, nil
	}
	path, err := fs.ReadLink(tree, folder)
	return err == nil && slices.Contains(strings.Split(path, "/"), at), err
}

// ErrNumber is in the error of KernelNumber.
var ErrNumber = errors.New("no number")

// KernelNumber reads the text of a file that holds one plain decimal number, as the kernel's files of devices do.
func KernelNumber(text string) (float64, error) {
	number := strings.TrimSpace(text)
	value, err := strconv.ParseFloat(number, 64)
	if err != nil || math.IsNaN(value) || math.IsInf(value, 0) || strings.ContainsAny(number, "xXpP_") {
		return 0, fmt.Errorf("%w: %.40q", ErrNumber, text)
	}
	return value, nil
}
