package peers

import (
	"os/exec"
	"syscall"
)

// dieWithParent ends the server when the test process is gone, however it went.
func dieWithParent(c *exec.Cmd) { c.SysProcAttr = &syscall.SysProcAttr{Pdeathsig: syscall.SIGKILL} }
