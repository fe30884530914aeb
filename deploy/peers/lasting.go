package peers

import (
	"os"
	"path/filepath"
	"syscall"
	"testing"
)

// LastingMosquitto is a Mosquitto that writes its sessions and queues to the disk when it
// is stopped in order (Stop); what a kill takes from it is lost, with any Mosquitto.
func LastingMosquitto(t testing.TB) *Process {
	t.Helper()
	p := Mosquitto(t)
	p.Kill()
	f, err := os.OpenFile(filepath.Join(p.Dir, "mosquitto.conf"), os.O_APPEND|os.O_WRONLY, 0)
	if err == nil {
		_, err = f.WriteString("persistence true\npersistence_location " + p.Dir + "/\nautosave_interval 0\n")
		f.Close()
	}
	if err != nil {
		t.Fatal(err)
	}
	p.Restart()
	return p
}

// Stop stops the program in order (SIGTERM) and waits for its end.
func (p *Process) Stop() {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.cmd == nil {
		return
	}
	p.cmd.Process.Signal(syscall.SIGTERM)
	<-p.done
	p.cmd = nil
}
