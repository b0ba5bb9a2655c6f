package serve

import (
	"compress/gzip"
	"encoding/binary"
	"encoding/json"
	"errors"
	"io"
	"io/fs"
	"path"

	"fornix/inspect"
	"fornix/render"
)

// gapName is the file of a pair's results that holds the gap at each vertex of both scans, beside the
// relation: with it a sheet is written without relating the jaws again. It stays in the house.
const gapName = "gap.bin.gz"

// writeGap writes the gaps of the upper scan's vertices and then those of the lower one's: for each scan
// how many there are and the values, mm, 64 bits each, the least significant byte first.
func writeGap(w io.Writer, upper, lower []float64) error {
	z, err := gzip.NewWriterLevel(w, gzip.BestSpeed) // nearly all are NaN
	if err != nil {
		return err
	}
	for _, values := range [2][]float64{upper, lower} {
		if err := errors.Join(binary.Write(z, binary.LittleEndian, uint64(len(values))), binary.Write(z, binary.LittleEndian, values)); err != nil {
			return err
		}
	}
	return z.Close()
}

// readGap reads them again, for scans of so many vertices.
func readGap(r io.Reader, upper, lower int) (gaps [2][]float64, err error) {
	z, err := gzip.NewReader(r)
	if err != nil {
		return gaps, err
	}
	for i, want := range [2]int{upper, lower} {
		var n uint64
		if err := binary.Read(z, binary.LittleEndian, &n); err != nil {
			return gaps, err
		}
		if n != uint64(want) {
			return gaps, errors.New("the gap is that of other scans")
		}
		gaps[i] = make([]float64, n)
		if err := binary.Read(z, binary.LittleEndian, gaps[i]); err != nil {
			return gaps, err
		}
	}
	return gaps, nil
}

// relation is how the jaws of a case close, as it was worked out, for the scans that a sheet is about;
// nil where it is not known. Results that cannot be read are made anew, and that is told.
func (s *Server) relation(c *Case, scans []*render.Scan) (*inspect.RelateOutcome, error) {
	p, now := related(&c.State)
	if !now || p.Status != Done {
		return nil, nil
	}
	dir := path.Join(folder(c.N), p.Results)
	out := &inspect.RelateOutcome{Relation: &inspect.Relation{}, Upper: &inspect.Outcome{Report: scans[0].Report, Mesh: scans[0].Mesh},
		Lower: &inspect.Outcome{Report: scans[1].Report, Mesh: scans[1].Mesh}} // as chosen orders them
	text, err := s.store.disk.read(path.Join(dir, relationName), 1<<28)
	if err == nil {
		err = json.Unmarshal(text, out.Relation)
	}
	if err == nil {
		var f fs.File
		if f, err = s.store.disk.open(path.Join(dir, gapName)); err == nil {
			defer f.Close()
			var gaps [2][]float64
			gaps, err = readGap(f, len(out.Upper.Mesh.Pos), len(out.Lower.Mesh.Pos))
			out.UpperGap, out.LowerGap = gaps[0], gaps[1]
		}
	}
	if err != nil {
		s.opt.Log.Printf("serve: case %s, pair: %v", folder(c.N), err)
		if err := s.store.update(c.N, func(st *State) error { st.Pair.Of = ""; return nil }); err != nil {
			return nil, err
		}
		return nil, wrong{"how the jaws close is being worked out anew: write the sheet in a minute"}
	}
	return out, nil
}
