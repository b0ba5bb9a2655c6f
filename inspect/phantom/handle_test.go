package phantom

import "testing"

// A handle is part of the impression: one piece, in whatever random jaw it stands. That of
// these two hung in the air before the tray.
func TestHandleHangsOn(t *testing.T) {
	for _, c := range []struct {
		seed int64
		jaw  string
	}{{20261216, "lower"}, {20261250, "lower"}} {
		p := Random(c.seed, c.jaw)
		p.Handle, p.Holes, p.TissueSide, p.Spacing, p.Decimate = true, nil, false, 0.5, 0
		ph, err := Make(p)
		if err != nil {
			t.Errorf("%s %d: %v", c.jaw, c.seed, err)
			continue
		}
		if _, parts := ph.Mesh.Components(); len(parts) != 1 {
			t.Errorf("%s %d: %d pieces", c.jaw, c.seed, len(parts))
		}
	}
}
