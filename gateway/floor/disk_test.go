package floor_test

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"testing/synctest"
	"time"

	"millwarden/gateway/history"
)

// noon is when the nights of the disk begin, by the board's clock.
var noon = time.Date(2026, 6, 10, 12, 0, 0, 0, time.UTC)

// hurtDisk runs the gateway of the room on a disk to which something happens after two minutes, and wants people told within one more, and alarms to ring.
func hurtDisk(t *testing.T, folder string, hurt func(), told string) {
	t.Helper()
	bubble(t, func(t *testing.T) {
		r := openRoom(t, folder, &powerClock{begun: time.Now(), wall: noon, isSet: true})
		go func() {
			time.Sleep(2*time.Minute - 500*time.Millisecond)
			if n := r.about(told); n > 0 {
				t.Errorf("%d calls about %q before anything happened", n, told)
			}
			synctest.Wait()
			hurt()
			time.Sleep(time.Minute)
			if r.about(told) == 0 {
				t.Errorf("nobody was told %q within a minute: %+v", told, r.phone.got)
			}
			before := r.about("ROOM 1")
			r.gas(400)
			time.Sleep(2 * time.Minute)
			if r.about("ROOM 1") == before {
				t.Errorf("gas above the limit, and nobody was called: %+v", r.phone.got)
			}
			r.gas(4)
		}()
		ctx, stop := contextFor(t, 12*time.Minute)
		defer stop()
		if err := r.mill.Run(ctx); err != nil {
			t.Errorf("Run() = %v", err)
		}
		_ = r.mill.Close() // on a disk that takes nothing it says so
	})
}

// Aim: a disk that is full is told within a minute, alarms go on, and so does the history, on the room of its oldest readings.
func TestNight_diskFull(t *testing.T) {
	folder := t.TempDir()
	if err := syscall.Mount("tmpfs", folder, "tmpfs", 0, "size=450m"); err != nil {
		t.Skipf("mounting a small file system: %v", err)
	}
	t.Cleanup(func() {
		if err := syscall.Unmount(folder, syscall.MNT_DETACH); err != nil {
			t.Error(err)
		}
	})
	oldReadings(t, folder, noon.AddDate(0, 0, -5))
	hurtDisk(t, folder, func() { (&disk{t: t, at: folder}).fill() }, "BOARD disk")
	if err := os.Remove(filepath.Join(folder, "ballast")); err != nil {
		t.Fatal(err)
	}
	h, err := history.Open(folder, history.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer h.Close()
	got, err := h.Range(t.Context(), "room-1/co", noon, noon.Add(time.Hour), 0)
	if err != nil || len(got) < 2 || got[len(got)-1].Stamp.Wall.Before(noon.Add(11*time.Minute+45*time.Second)) {
		t.Fatalf("%d readings, %v, the last %+v: want one every 10 s for 12 minutes", len(got), err, got[max(len(got)-1, 0):])
	}
	for i := 1; i < len(got); i++ {
		if gap := got[i].Stamp.Wall.Sub(got[i-1].Stamp.Wall); gap > 15*time.Second {
			t.Errorf("a gap of %v after %v", gap, got[i-1].Stamp.Wall)
		}
	}
}

// Aim: a disk that the kernel makes read-only after an error, as it does with a worn card, is told within a minute, and alarms go on.
func TestNight_diskReadOnly(t *testing.T) {
	base := t.TempDir()
	image, folder := filepath.Join(base, "image"), filepath.Join(base, "card")
	run := func(line string) (string, error) {
		out, err := exec.CommandContext(t.Context(), "sh", "-ec", line).CombinedOutput()
		return strings.TrimSpace(string(out)), err
	}
	if out, err := run("truncate -s 64M " + image + "; mkfs.ext4 -q " + image + "; mkdir " + folder + "; mount -o loop,errors=remount-ro " + image + " " + folder); err != nil {
		t.Skipf("making and mounting a file system: %v %s", err, out)
	}
	t.Cleanup(func() {
		if err := syscall.Unmount(folder, syscall.MNT_DETACH); err != nil {
			t.Error(err)
		}
	})
	device, err := run("findmnt -no SOURCE " + folder)
	trigger := "/sys/fs/ext4/" + filepath.Base(device) + "/trigger_fs_error"
	if _, missing := os.Stat(trigger); err != nil || missing != nil {
		t.Skipf("this kernel has no %s: %v", trigger, err)
	}
	hurtDisk(t, folder, func() {
		if err := os.WriteFile(trigger, []byte("test"), 0); err != nil { // [Linux, Documentation/ABI/testing/sysfs-fs-ext4]
			t.Error(err)
		}
		if err := os.WriteFile(filepath.Join(folder, "new"), nil, 0o600); err == nil {
			t.Error("the disk can be written still: the test shows nothing")
		}
	}, "BOARD logbook")
}
