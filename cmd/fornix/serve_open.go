package main

import (
	"log"
	"os/exec"
)

// browserCommand is the command by which a system (named as in GOOS) opens an address in the browser
// that its user chose.
func browserCommand(system, address string) []string {
	switch system {
	case "windows":
		return []string{"rundll32", "url.dll,FileProtocolHandler", address}
	case "darwin":
		return []string{"open", address}
	}
	return []string{"xdg-open", address}
}

// openBrowser asks the system to open an address and does not wait for it. Where that cannot be done
// it is told why; the address that was printed is there, and the program goes on.
func openBrowser(system, address string, log *log.Logger) {
	words := browserCommand(system, address)
	c := exec.Command(words[0], words[1:]...)
	if err := c.Start(); err != nil {
		log.Printf("no browser was opened (%v): open the address yourself", err)
		return
	}
	go func() { // ends with the command
		if err := c.Wait(); err != nil {
			log.Printf("no browser was opened (%s: %v): open the address yourself", words[0], err)
		}
	}()
}
