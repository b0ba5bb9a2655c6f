package inspect

import "testing"

func TestNoRimOnSmoothTray(t *testing.T) {
	for _, c := range []struct {
		name string
		tray tray
	}{{"tube", tray{noRim: true}}, {"noisy tube", tray{noRim: true, noise: 0.02, step: 0.25}}, {"tube and handle", tray{noRim: true, handle: true}}} {
		b := c.tray.build(4)
		rim, why := FindRim(b.m, b.m.Normals(), b.toward, occlusalDefaults)
		t.Log(c.name, why)
		if rim != nil {
			t.Errorf("%s: a rim of %.0f mm², wall %.2f level %.2f disc %.1f", c.name, rim.AreaMM2, rim.WallShare, rim.LevelShare, rim.DiscMM)
		}
	}
}
