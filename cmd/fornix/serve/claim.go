package serve

import (
	"io"
	"os"
	"path/filepath"
	"strings"

	"fornix/cmd/fornix/lock"
)

// claimName is the file by which one program at a time has a store.
const claimName = ".serving"

// Claim is the right to a store.
type Claim struct{ f *os.File }

// Taken says that another program has the store open, and where it serves it.
type Taken struct{ Address string }

func (t *Taken) Error() string { return "these cases are open already at " + t.Address }

// TakeStore claims the store in dir, which is made where it is not there, until the program ends. The
// error is a *Taken where another one has it.
func TakeStore(dir string) (*Claim, error) {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return nil, err
	}
	f, err := os.OpenFile(filepath.Join(dir, claimName), os.O_RDWR|os.O_CREATE, 0o600)
	if err != nil {
		return nil, err
	}
	if lock.Take(f) != nil {
		defer f.Close()
		text, err := io.ReadAll(io.LimitReader(f, 1<<10))
		if err != nil {
			return nil, err
		}
		return nil, &Taken{strings.TrimSpace(string(text))}
	}
	return &Claim{f}, nil
}

// Say writes down where the store is served.
func (c *Claim) Say(address string) error {
	if err := c.f.Truncate(0); err != nil {
		return err
	}
	_, err := c.f.WriteAt([]byte(address+"\n"), 0)
	return err
}

// Release gives the store back.
func (c *Claim) Release() error { return c.f.Close() }
