package database

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"testing/fstest"
	"time"
)

func steps(texts ...string) fstest.MapFS {
	m := fstest.MapFS{}
	for i, text := range texts {
		m[fmt.Sprintf("%04d-step.sql", i+1)] = &fstest.MapFile{Data: []byte(text)}
	}
	return m
}

func openTest(t *testing.T, path string, migrations fs.FS, o Options) *File {
	t.Helper()
	f, err := Open(t.Context(), path, migrations, o)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := f.Close(); err != nil {
			t.Errorf("Close() = %v", err)
		}
	})
	return f
}

func version(t *testing.T, f *File) (v int) {
	t.Helper()
	if err := f.Read.QueryRowContext(t.Context(), "PRAGMA user_version").Scan(&v); err != nil {
		t.Fatal(err)
	}
	return v
}

// A migration that breaks half-way leaves the schema before it, whole, and its number; repaired, it runs from there.
func TestMigrate_brokenStepLeavesTheOneBefore(t *testing.T) {
	path := filepath.Join(t.TempDir(), "x.db")
	good, broken := "CREATE TABLE a (n INTEGER); INSERT INTO a VALUES (1);", "CREATE TABLE b (n INTEGER); INSERT INTO nowhere VALUES (1);"
	if _, err := Open(t.Context(), path, steps(good, broken), Options{}); err == nil || !strings.Contains(err.Error(), "0002-step.sql") {
		t.Fatalf("Open() = %v, want an error that names the step", err)
	}
	f := openTest(t, path, steps(good), Options{})
	if v := version(t, f); v != 1 {
		t.Errorf("version = %d, want 1", v)
	}
	var tables int
	if err := f.Read.QueryRowContext(t.Context(), "SELECT count(*) FROM sqlite_schema WHERE name = 'b'").Scan(&tables); err != nil || tables != 0 {
		t.Errorf("table b of the broken step: %d, %v, want none", tables, err)
	}
	if err := Migrate(t.Context(), f.Write, steps(good, "CREATE TABLE b (n INTEGER);", "INSERT INTO b SELECT n FROM a;")); err != nil {
		t.Fatal(err)
	}
	var n int
	if err := f.Read.QueryRowContext(t.Context(), "SELECT n FROM b").Scan(&n); err != nil || n != 1 || version(t, f) != 3 {
		t.Errorf("after the repaired steps n = %d, %v, version %d, want 1 and 3", n, err, version(t, f))
	}
	if err := Migrate(t.Context(), f.Write, steps(good)); !errors.Is(err, ErrNewer) {
		t.Errorf("Migrate() of a newer file = %v, want ErrNewer", err)
	}
}

func TestMigrate_numbersMustFollow(t *testing.T) {
	wrong := fstest.MapFS{"0001-a.sql": {Data: []byte("SELECT 1")}, "0003-c.sql": {Data: []byte("SELECT 1")}}
	if _, err := Open(t.Context(), filepath.Join(t.TempDir(), "x.db"), wrong, Options{}); err == nil || !strings.Contains(err.Error(), "0002") {
		t.Errorf("Open() = %v, want an error that says 0002 is due", err)
	}
	if _, err := Open(t.Context(), filepath.Join(t.TempDir(), "x.db"), fstest.MapFS{}, Options{}); err == nil {
		t.Error("Open() without migrations gave no error")
	}
}

// Signs that mean something in a database's address are plain signs in a folder's name.
func TestOpen_anyFolderName(t *testing.T) {
	for _, name := range []string{"plain", "with space", "a?b=c", "a#b", "50%41", "ñandú"} {
		dir := filepath.Join(t.TempDir(), name)
		if err := os.Mkdir(dir, 0o750); err != nil {
			t.Fatal(err)
		}
		openTest(t, filepath.Join(dir, "x.db"), steps("CREATE TABLE a (n INTEGER)"), Options{})
		if _, err := os.Stat(filepath.Join(dir, "x.db")); err != nil {
			t.Errorf("folder %q: %v", name, err)
		}
	}
}

func TestOpen_pragmas(t *testing.T) {
	f := openTest(t, filepath.Join(t.TempDir(), "x.db"), steps("CREATE TABLE a (n INTEGER)"), Options{Page: 512, Readers: 2, Wait: 1234 * time.Millisecond})
	for pragma, want := range map[string]string{"page_size": "512", "journal_mode": "wal", "synchronous": "2", "foreign_keys": "1", "busy_timeout": "1234", "query_only": "0"} {
		var got string
		if err := f.Write.QueryRowContext(t.Context(), "PRAGMA "+pragma).Scan(&got); err != nil || got != want {
			t.Errorf("%s = %q, %v, want %q", pragma, got, err, want)
		}
	}
	if _, err := f.Read.ExecContext(t.Context(), "INSERT INTO a VALUES (1)"); err == nil {
		t.Error("a connection of the reading pool could write")
	}
}

// Each kind as SQLite or the system really gives it.
func TestExplain_kinds(t *testing.T) {
	dir := t.TempDir()
	f := openTest(t, filepath.Join(dir, "x.db"), steps("CREATE TABLE a (n BLOB)"), Options{})
	exec := func(statement string) error {
		_, err := f.Write.ExecContext(t.Context(), statement)
		return Explain(err)
	}
	if err := exec("PRAGMA max_page_count = 1"); err != nil {
		t.Fatal(err)
	}
	if err := exec("INSERT INTO a VALUES (zeroblob(100000))"); !errors.Is(err, ErrFull) || !strings.Contains(err.Error(), "full") {
		t.Errorf("a full file = %v, want ErrFull and SQLite's own words", err)
	}
	if err := exec("SELEKT"); err == nil || errors.Is(err, ErrFull) || errors.Is(err, ErrDamaged) {
		t.Errorf("a wrong statement = %v, want no kind", err)
	}
	if err := os.WriteFile(filepath.Join(dir, "y.db"), []byte(strings.Repeat("no database ", 500)), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := Open(t.Context(), filepath.Join(dir, "y.db"), steps("SELECT 1"), Options{}); !errors.Is(err, ErrDamaged) {
		t.Errorf("Open() of something else = %v, want ErrDamaged", err)
	}
	if _, err := Open(t.Context(), filepath.Join(dir, "nowhere", "x.db"), steps("SELECT 1"), Options{}); !errors.Is(err, ErrFolder) {
		t.Errorf("Open() in no folder = %v, want ErrFolder", err)
	}
	for err, kind := range map[error]error{syscall.ENOSPC: ErrFull, syscall.EDQUOT: ErrFull, syscall.EROFS: ErrFolder, fs.ErrPermission: ErrFolder, ErrFull: ErrFull} {
		if got := Explain(fmt.Errorf("writing: %w", err)); !errors.Is(got, kind) || !errors.Is(got, err) {
			t.Errorf("Explain(%v) = %v, want %v", err, got, kind)
		}
	}
	if Explain(nil) != nil {
		t.Error("Explain(nil) is an error")
	}
}

func TestSetAside_keepsAllOfThem(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "x.db")
	for n := 1; n <= 3; n++ {
		for _, end := range []string{"", "-wal"} {
			if err := os.WriteFile(path+end, []byte{byte(n)}, 0o600); err != nil {
				t.Fatal(err)
			}
		}
		cause := errors.New("torn")
		a, err := SetAside(path, cause)
		if err != nil || !errors.Is(a, cause) || !strings.Contains(a.Error(), "x.db") {
			t.Fatalf("SetAside() = %v, %v", a, err)
		}
		for _, end := range []string{"", "-wal"} {
			if b, err := os.ReadFile(fmt.Sprintf("%s.damaged-%d%s", path, n, end)); err != nil || b[0] != byte(n) {
				t.Errorf("%d%s: %v, %v", n, end, b, err)
			}
			if _, err := os.Stat(path + end); !errors.Is(err, fs.ErrNotExist) {
				t.Errorf("%s is still there", path+end)
			}
		}
	}
}

const childFolder = "MILLWARDEN_TEST_LOCK"

// TestChild holds a folder until it is killed.
func TestChild(t *testing.T) {
	dir := os.Getenv(childFolder)
	if dir == "" {
		t.Skip("it is run by TestHold")
	}
	if _, err := Hold(dir); err != nil {
		t.Fatal(err)
	}
	fmt.Println("held")
	select {}
}

// Another process: the error names the folder and the process; when that one is killed, the folder is free at once.
func TestHold_anotherProcess(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "data")
	c := exec.CommandContext(t.Context(), os.Args[0], "-test.run=^TestChild$")
	c.Env = append(os.Environ(), childFolder+"="+dir)
	out, err := c.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := c.Start(); err != nil {
		t.Fatal(err)
	}
	said := make([]byte, 5)
	if _, err := out.Read(said); err != nil || !strings.HasPrefix(string(said), "held") {
		t.Fatalf("the child says %q, %v", said, err)
	}
	if _, err := Hold(dir); !errors.Is(err, ErrInUse) || !strings.Contains(err.Error(), dir) || !strings.Contains(err.Error(), fmt.Sprint(c.Process.Pid)) {
		t.Errorf("Hold() = %v, want ErrInUse with the folder and process %d", err, c.Process.Pid)
	}
	if err := c.Process.Kill(); err != nil {
		t.Fatal(err)
	}
	_ = c.Wait()
	l, err := Hold(dir)
	if err != nil {
		t.Fatalf("Hold() after the other was killed = %v", err)
	}
	if err := l.Release(); err != nil {
		t.Error(err)
	}
}

func TestHold_folderThatCannotBeMade(t *testing.T) {
	file := filepath.Join(t.TempDir(), "file")
	if err := os.WriteFile(file, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := Hold(filepath.Join(file, "data")); !errors.Is(err, ErrFolder) || !strings.Contains(err.Error(), file) {
		t.Errorf("Hold() below a file = %v, want ErrFolder", err)
	}
	if os.Geteuid() == 0 {
		return // who may write everywhere cannot try the rest
	}
	dir := t.TempDir()
	if err := os.Chmod(dir, 0o500); err != nil {
		t.Fatal(err)
	}
	if _, err := Hold(dir); !errors.Is(err, ErrFolder) {
		t.Errorf("Hold() of a folder without rights = %v, want ErrFolder", err)
	}
}
