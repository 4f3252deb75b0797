package history

import (
	"errors"
	"math/rand/v2"
	"os"
	"path/filepath"
	"syscall"
	"testing"
	"time"
)

// Aim: room is made from the oldest that is in the store; what is not stays, and is counted, until it is said that it may go.
func TestMakeRoom_oldestStoredFirst(t *testing.T) {
	h := openTest(t, memoryFolder(t))
	fillMixed(t, h, 7*rowsPerStretch)
	half := h.Last() / 2
	if err := h.SetWatermark(Mark{Commit: half}); err != nil {
		t.Fatal(err)
	}
	rollAll(t, h, night.Add(48*time.Hour), false)
	const much = 1 << 30
	oldest := func() time.Time {
		got, err := h.Range(t.Context(), "deck/air", night.Add(-time.Hour), night.Add(24*time.Hour), 1)
		if err != nil || len(got) != 1 {
			t.Fatalf("Range() = %d, %v", len(got), err)
		}
		return got[0].Stamp.Wall
	}
	room, err := h.Room(t.Context())
	if err != nil || room.Bytes < 10<<10 {
		t.Fatalf("Room() = %+v, %v", room, err)
	}
	if got, err := h.MakeRoom(t.Context(), room.Free, false); err != nil || got != (Removed{}) || !oldest().Equal(night) {
		t.Errorf("MakeRoom() of what is free = %+v, %v, the oldest is of %v: want nothing removed", got, err, oldest())
	}
	got, err := h.MakeRoom(t.Context(), room.Free+1024, false)
	if err != nil || got.Readings == 0 || got.Unsent != 0 || !oldest().After(night) {
		t.Errorf("MakeRoom() = %+v, %v, the oldest is of %v: want the oldest gone", got, err, oldest())
	}
	last := h.Last()
	got, err = h.MakeRoom(t.Context(), much, false)
	left := readAll(t, h)
	if err != nil || got.Unsent != 0 || got.Kept == 0 || left[len(left)-1].Position != last || left[0].Position > half+1 {
		t.Fatalf("MakeRoom() of everything = %+v, %v: %d left from %d, want all after %d", got, err, len(left), left[0].Position, half)
	}
	kept := got.Kept
	if got, err = h.MakeRoom(t.Context(), much, true); err != nil || got.Unsent != kept || h.Last() != last || len(readAll(t, h)) == 0 {
		t.Errorf("MakeRoom(even unsent) = %+v, %v: want %d unsent gone and the newest stretch left", got, err, kept)
	}
}

// Aim: on a disk without any room left, readings go on being kept while the oldest make room, and the file does not grow. The control, a disk on which no
// spare room was kept, refuses, and can remove nothing.
func TestMakeRoom_onAFullDisk(t *testing.T) {
	for name, spare := range map[string]bool{"spare": true, "no spare": false} {
		t.Run(name, func(t *testing.T) {
			dir := t.TempDir()
			if err := syscall.Mount("none", dir, "tmpfs", 0, "size=450m"); err != nil {
				t.Skipf("mounting a small file system: %v", err)
			}
			t.Cleanup(func() {
				if err := syscall.Unmount(dir, 0); err != nil {
					t.Error(err)
				}
			})
			h, err := Open(dir, Options{})
			if err != nil {
				t.Fatal(err)
			}
			r := rand.New(rand.NewPCG(95, 96))
			for s := range 4 * rowsPerStretch {
				mustAppend(t, h, second(r, 64, s)...)
			}
			if !spare && !h.giveSpare() {
				t.Fatal("there was no spare room")
			}
			fillDisk(t, dir)
			refused, grew := keepOn(t, h, r)
			if spare && (refused > 0 || grew > spareBytes || h.Counts().Waiting > 0) {
				t.Errorf("%d appends were refused, the file grew by %d", refused, grew)
			}
			if !spare && refused == 0 {
				t.Error("without spare room nothing was refused: it is for nothing")
			}
			if err := h.Close(); spare && err != nil {
				t.Error(err)
			}
		})
	}
}

// keepOn appends as the gateway does, with a look for room now and then.
func keepOn(t testing.TB, h *History, r *rand.Rand) (refused int, grew int64) {
	t.Helper()
	before, err := h.Room(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	for s := range 8 * rowsPerStretch {
		if s%10 == 0 {
			if _, err := h.MakeRoom(t.Context(), 64<<10, true); err != nil && !errors.Is(err, ErrFull) {
				t.Fatal(err)
			}
		}
		if _, err := h.Append(second(r, 64, 4*rowsPerStretch+s)); err != nil {
			refused++
		}
		if refused == 20 {
			break
		}
	}
	after, err := h.Room(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	return refused, after.Bytes - before.Bytes
}

// fillDisk leaves no room on a small file system.
func fillDisk(t testing.TB, dir string) {
	t.Helper()
	f, err := os.Create(filepath.Join(dir, "ballast"))
	if err != nil {
		t.Fatal(err)
	}
	block := make([]byte, 1<<20)
	for err == nil {
		_, err = f.Write(block)
	}
	if !errors.Is(err, syscall.ENOSPC) {
		t.Fatalf("the disk was not filled: %v", err)
	}
	if err := f.Close(); err != nil {
		t.Fatal(err)
	}
}
