package housekeeping

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// release is a folder as deploy/package.sh leaves it, signed by a key made for the test.
type release struct {
	t                     *testing.T
	folder, signers, keys string
}

func (r *release) run(name string, args ...string) (string, error) {
	r.t.Helper()
	out, err := exec.CommandContext(r.t.Context(), name, args...).CombinedOutput()
	return string(out), err
}

func (r *release) must(name string, args ...string) {
	r.t.Helper()
	if out, err := r.run(name, args...); err != nil {
		r.t.Fatalf("%s %v: %v\n%s", name, args, err, out)
	}
}

func (r *release) write(name, text string) {
	r.t.Helper()
	if err := os.WriteFile(filepath.Join(r.folder, name), []byte(text), 0o600); err != nil {
		r.t.Fatal(err)
	}
}

// key makes a key and gives the name of its file.
func (r *release) key(name string) string {
	path := filepath.Join(r.keys, name)
	r.must("ssh-keygen", "-q", "-t", "ed25519", "-N", "", "-f", path)
	return path
}

const signScript = "../../deploy/sign.sh"

func (r *release) sum() {
	out, err := exec.CommandContext(r.t.Context(), "sh", "-c", "cd '"+r.folder+"' && sha256sum millwarden* >SHA256SUMS").CombinedOutput()
	if err != nil {
		r.t.Fatalf("%v %s", err, out)
	}
}

// check gives what the check says to the release.
func (r *release) check() (string, error) {
	return r.run("sh", signScript, "check", r.folder, r.signers)
}

// Aim: the one command of a maintainer makes a key by which releases pass, and a release is installed only as it was signed. A changed package, changed sums, a package beside the signed ones, another's key, a signature for another
// purpose and none at all are refused; the control is the release itself, also with packages left out. OpenSSH judges.
func TestSigning(t *testing.T) {
	if _, err := exec.LookPath("ssh-keygen"); err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatal("ssh-keygen is not installed")
		}
		t.Skip("ssh-keygen is not installed")
	}
	t.Setenv("PASSPHRASE", "")
	r := &release{t: t, keys: t.TempDir()}
	r.signers = filepath.Join(r.keys, "signers")
	shipped, err := os.ReadFile("../../deploy/release-signers")
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(r.signers, shipped, 0o600); err != nil {
		t.Fatal(err)
	}
	ours, other := filepath.Join(r.keys, "ours"), r.key("other")
	said, err := r.run("sh", signScript, "key", ours, r.signers)
	if err != nil || !strings.Contains(said, "SHA256:") {
		t.Fatalf("making the key of a maintainer: %v\n%s", err, said)
	}
	before, _ := os.ReadFile(r.signers)
	if said, err := r.run("sh", signScript, "key", ours, r.signers); err == nil {
		t.Errorf("a key was made over another: %s", said)
	}
	if after, _ := os.ReadFile(r.signers); string(after) != string(before) || len(after) <= len(shipped) {
		t.Errorf("the signers after the first key, and after the second that was refused:\n%s\n%s", before, after)
	}
	if mode, err := os.Stat(ours); err != nil || mode.Mode().Perm() != 0o600 {
		t.Errorf("the key: %v, %v", mode, err)
	}
	const deb = "millwarden_0.1.0-1_arm64.deb"
	for name, c := range map[string]struct {
		change func()
		says   string
	}{
		"as signed":         {func() {}, ""},
		"one package alone": {func() { r.must("rm", filepath.Join(r.folder, "millwarden-0.1.0-linux-amd64")) }, ""},
		"a changed package": {func() { r.write(deb, "a package with a door in it") }, "a file is not as it was signed"},
		"and changed sums":  {func() { r.write(deb, "a package with a door in it"); r.sum() }, "signed by nobody"},
		"one more package":  {func() { r.write("millwarden_0.1.1-1_arm64.deb", "another") }, "in no line of SHA256SUMS"},
		"another's key":     {func() { r.must("sh", signScript, "sign", r.folder, other) }, "signed by nobody"},
		"another purpose": {func() {
			r.must("rm", filepath.Join(r.folder, "SHA256SUMS.sig"))
			r.must("ssh-keygen", "-q", "-Y", "sign", "-f", ours, "-n", "file", filepath.Join(r.folder, "SHA256SUMS"))
		}, "signed by nobody"},
		"no signature": {func() { r.must("rm", filepath.Join(r.folder, "SHA256SUMS.sig")) }, "there is no signature"},
	} {
		r.folder = t.TempDir()
		r.write(deb, "a package")
		r.write("millwarden-0.1.0-linux-amd64", "a program")
		r.sum()
		r.must("sh", signScript, "sign", r.folder, ours)
		c.change()
		said, err := r.check()
		if (err == nil) != (c.says == "") || !strings.Contains(said, c.says) || c.says != "" && !strings.Contains(said, "Do not install it.") {
			t.Errorf("%s: %v, %s, want %q", name, err, said, c.says)
		}
	}
	// No key of a test is shipped: nothing of it passes.
	r.signers = "../../deploy/release-signers"
	if said, err := r.check(); err == nil {
		t.Errorf("the shipped signers let it pass: %s", said)
	}
}
