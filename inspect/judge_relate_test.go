package inspect

import (
	"testing"

	"github.com/google/go-cmp/cmp"
)

// soundRelation is a pair with nothing wrong: rims that meet flat, 40 mm from sulcus to sulcus.
func soundRelation() *Relation {
	r := &Relation{}
	r.Planes = RimPlanes{AngleDeg: 0.1, SidewaysDeg: 0.1}
	r.Gap = RimGap{All: GapPart{MedianMM: num(0.05)}, SpreadMM: 0.1, SidesMM: num(0.02), FrontMM: num(-0.02)}
	r.Horizontal.MidlineMM = num(0.5)
	r.Heights = []Height{{Name: SulcusAnterior, MM: num(40), Line: []Vec{{Z: 22}, {Z: -18}}}}
	r.Space = []SpaceAt{{Part: "anterior", MM: 22, UpperMM: 12, LowerMM: 10}, {Part: "molar left", MM: 20, UpperMM: 11, LowerMM: 9}}
	return r
}

func tilted(v float64) func(*Relation) {
	return func(r *Relation) { r.Planes.AngleDeg, r.Planes.ForeAftDeg = v, v }
}
func apart(v float64) func(*Relation)         { return func(r *Relation) { r.Gap.All.MedianMM = &v } }
func uneven(v float64) func(*Relation)        { return func(r *Relation) { r.Gap.SpreadMM = v } }
func openOnOneSide(v float64) func(*Relation) { return func(r *Relation) { r.Gap.SidesMM = num(-v) } }
func openInFront(v float64) func(*Relation)   { return func(r *Relation) { r.Gap.FrontMM = &v } }
func sunk(v float64) func(*Relation)          { return func(r *Relation) { r.Gap.SunkMM = v } }
func offMidline(v float64) func(*Relation) {
	return func(r *Relation) { r.Horizontal.MidlineMM = num(-v) }
}
func room(v float64) func(*Relation) { return func(r *Relation) { r.Space[1].MM = v } }
func tall(v float64) func(*Relation) { return func(r *Relation) { r.Heights[0].MM = num(40 - v) } }
func faceCant(v float64) func(*Relation) {
	return func(r *Relation) { r.References = []PlaneAngle{{Reference: Pupils, Jaw: Upper, CantDeg: &v}} }
}
func facePitch(v float64) func(*Relation) {
	return func(r *Relation) { r.References = []PlaneAngle{{Reference: Camper, Jaw: Upper, ForeAftDeg: num(-v)}} }
}

// For every limit a value just inside and one just outside of it.
var judgedRelations = []struct {
	name     string
	change   func(*Relation)
	code     string
	severity Severity
	verdict  Verdict
}{
	{"sound", func(*Relation) {}, "", "", Send},
	{"rims-unparallel sound", tilted(0.48), "", "", Send},
	{"rims-unparallel noted", tilted(0.52), "rims-unparallel", Info, Send},
	{"rims-unparallel still noted", tilted(0.98), "rims-unparallel", Info, Send},
	{"rims-unparallel doubtful", tilted(1.02), "rims-unparallel", Review, Correct},
	{"rims-unparallel nearly failed", tilted(1.98), "rims-unparallel", Review, Correct},
	{"rims-unparallel failed", tilted(2.02), "rims-unparallel", Fail, Correct},
	{"rims-apart sound", apart(0.28), "", "", Send},
	{"rims-apart noted", apart(0.32), "rims-apart", Info, Send},
	{"rims-apart still noted", apart(0.98), "rims-apart", Info, Send},
	{"rims-apart doubtful", apart(1.02), "rims-apart", Review, Correct},
	{"rims-apart nearly failed", apart(2.98), "rims-apart", Review, Correct},
	{"rims-apart failed", apart(3.02), "rims-apart", Fail, Correct},
	{"gap-uneven sound", uneven(0.28), "", "", Send},
	{"gap-uneven noted", uneven(0.32), "gap-uneven", Info, Send},
	{"gap-uneven still noted", uneven(0.58), "gap-uneven", Info, Send},
	{"gap-uneven doubtful", uneven(0.62), "gap-uneven", Review, Correct},
	{"gap-uneven nearly failed", uneven(1.18), "gap-uneven", Review, Correct},
	{"gap-uneven failed", uneven(1.22), "gap-uneven", Fail, Correct},
	{"gap-sides sound", openOnOneSide(0.13), "", "", Send},
	{"gap-sides noted", openOnOneSide(0.17), "gap-sides", Info, Send},
	{"gap-sides still noted", openOnOneSide(0.38), "gap-sides", Info, Send},
	{"gap-sides doubtful", openOnOneSide(0.42), "gap-sides", Review, Correct},
	{"gap-sides nearly failed", openOnOneSide(0.78), "gap-sides", Review, Correct},
	{"gap-sides failed", openOnOneSide(0.82), "gap-sides", Fail, Correct},
	{"gap-front sound", openInFront(0.13), "", "", Send},
	{"gap-front noted", openInFront(0.17), "gap-front", Info, Send},
	{"gap-front still noted", openInFront(0.38), "gap-front", Info, Send},
	{"gap-front doubtful", openInFront(0.42), "gap-front", Review, Correct},
	{"gap-front nearly failed", openInFront(0.78), "gap-front", Review, Correct},
	{"gap-front failed", openInFront(0.82), "gap-front", Fail, Correct},
	{"rims-sunk sound", sunk(0.03), "", "", Send},
	{"rims-sunk noted", sunk(0.07), "rims-sunk", Info, Send},
	{"rims-sunk still noted", sunk(0.13), "rims-sunk", Info, Send},
	{"rims-sunk doubtful", sunk(0.17), "rims-sunk", Review, Rescan},
	{"rims-sunk nearly failed", sunk(0.38), "rims-sunk", Review, Rescan},
	{"rims-sunk failed", sunk(0.42), "rims-sunk", Fail, Rescan},
	{"midlines-apart sound", offMidline(1.98), "", "", Send},
	{"midlines-apart noted", offMidline(2.02), "midlines-apart", Info, Send},
	{"midlines-apart still noted", offMidline(3.98), "midlines-apart", Info, Send},
	{"midlines-apart doubtful", offMidline(4.02), "midlines-apart", Review, Correct},
	{"midlines-apart nearly failed", offMidline(7.98), "midlines-apart", Review, Correct},
	{"midlines-apart failed", offMidline(8.02), "midlines-apart", Fail, Correct},
	{"space-short sound", room(18.02), "", "", Send},
	{"space-short noted", room(17.98), "space-short", Info, Send},
	{"space-short still noted", room(12.02), "space-short", Info, Send},
	{"space-short doubtful", room(11.98), "space-short", Review, Correct},
	{"space-short nearly failed", room(9.02), "space-short", Review, Correct},
	{"space-short failed", room(8.98), "space-short", Fail, Correct},
	{"height-unusual sound", tall(3.98), "", "", Send},
	{"height-unusual noted", tall(4.02), "height-unusual", Info, Send},
	{"height-unusual still noted", tall(7.98), "height-unusual", Info, Send},
	{"height-unusual doubtful", tall(8.02), "height-unusual", Review, Correct},
	{"height-unusual nearly failed", tall(11.98), "height-unusual", Review, Correct},
	{"height-unusual failed", tall(12.02), "height-unusual", Fail, Correct},
	{"face-canted sound", faceCant(0.98), "", "", Send},
	{"face-canted noted", faceCant(1.02), "face-canted", Info, Send},
	{"face-canted still noted", faceCant(1.98), "face-canted", Info, Send},
	{"face-canted doubtful", faceCant(2.02), "face-canted", Review, Correct},
	{"face-canted nearly failed", faceCant(3.98), "face-canted", Review, Correct},
	{"face-canted failed", faceCant(4.02), "face-canted", Fail, Correct},
	{"face-pitched sound", facePitch(3.98), "", "", Send},
	{"face-pitched noted", facePitch(4.02), "face-pitched", Info, Send},
	{"face-pitched still noted", facePitch(7.98), "face-pitched", Info, Send},
	{"face-pitched doubtful", facePitch(8.02), "face-pitched", Review, Correct},
	{"face-pitched nearly failed", facePitch(11.98), "face-pitched", Review, Correct},
	{"face-pitched failed", facePitch(12.02), "face-pitched", Fail, Correct},
	{"no gap", func(r *Relation) { r.Gap.All.MedianMM = nil }, "unmeasured-relation", Unmeasured, Rescan},
	{"no crests", func(r *Relation) { r.Space = nil }, "unmeasured-relation", Unmeasured, Rescan},
}

func TestJudgeRelation(t *testing.T) {
	p := DefaultProtocol()
	for _, c := range judgedRelations {
		t.Run(c.name, func(t *testing.T) {
			r := soundRelation()
			c.change(r)
			findings, verdict := JudgeRelation(r, p)
			if verdict != c.verdict {
				t.Errorf("verdict %q, want %q: %+v", verdict, c.verdict, findings)
			}
			told := c.code == ""
			for _, f := range findings {
				told = told || f.Code == c.code && f.Severity == c.severity
				if c.code == "" || f.Code != c.code {
					t.Errorf("more than expected: %s %s", f.Severity, f.Code)
				}
			}
			if !told {
				t.Errorf("no %s %s in %+v", c.severity, c.code, findings)
			}
			again, _ := JudgeRelation(r, p)
			if d := cmp.Diff(findings, again); d != "" {
				t.Errorf("a second judgement differs: %s", d)
			}
			checkForm(t, findings)
		})
	}
}
