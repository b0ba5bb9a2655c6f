package serve

import (
	"strings"
	"testing"
)

// Marks of the order show on the scan of the jaw that they lie on; on the other one it is told whose they are.
func TestMarksOnTheScan(t *testing.T) {
	count, apart := 0, true
	s := start(t, jawsEngine(t, &count, &apart), Options{})
	s.drop("/scan", "a.stl", string(stl(t, "upper", false)))
	s.drop("/case/1/scan", "b.stl", string(stl(t, "lower", false)))
	s.settled(1)
	if st := s.order("/case/1/order", map[string]string{"marks.midline_at": "1, 2.5, -3", "marks.canine_at": "4, 5, 6\n7, 8, 9", "marks.marked_on": "upper"}); !st.Saved {
		t.Fatalf("%+v", st)
	}
	for path, want := range map[string][]string{
		"/case/1?scan=1": {`data-key="line-midline-0" data-name="Midline" data-at="[1,2.5,-3]"`, `data-key="line-canine-1" data-name="Canine line, left" data-at="[7,8,9]"`, `data-key="line-smile-0" data-name="Smile line, right">`, "Marks on the upper scan"},
		"/case/1?scan=2": {`data-key="line-midline-0" data-name="Midline">`, "in place of those on the upper scan"},
	} {
		_, page := s.ask("GET", path, nil, nil)
		for _, w := range want {
			if !strings.Contains(page, w) {
				t.Errorf("%s lacks %s", path, w)
			}
		}
	}
}
