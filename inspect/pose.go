package inspect

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"

	"fornix/mesh/register"
)

// ReadPose reads a rigid motion from JSON: four rows of four numbers, to be multiplied with columns
// (x, y, z, 1), lengths in mm. The rows may stand by themselves, under "pose", or under "alignment" as
// in a comparison, so that one can be given back:
//
//	{"pose": [[1, 0, 0, 10], [0, 1, 0, 0], [0, 0, 1, 0], [0, 0, 0, 1]]}
//
// Rounding of the rows is taken out: the motion is the rotation nearest to them. A matrix that scales,
// shears or mirrors is an error.
func ReadPose(r io.Reader) (register.Pose, error) {
	text, err := io.ReadAll(r)
	if err != nil {
		return register.Pose{}, err
	}
	var rows [][]float64
	if json.Unmarshal(text, &rows) != nil {
		var file struct {
			Pose      [][]float64 `json:"pose"`
			Alignment struct {
				Pose [][]float64 `json:"pose"`
			} `json:"alignment"`
		}
		if json.Unmarshal(text, &file) != nil {
			return register.Pose{}, errors.New("the file is no JSON matrix of four rows of four numbers")
		}
		if rows = file.Pose; rows == nil {
			rows = file.Alignment.Pose
		}
	}
	if len(rows) != 4 {
		return register.Pose{}, fmt.Errorf("a pose has four rows of four numbers, not %d rows", len(rows))
	}
	for i, row := range rows {
		if len(row) != 4 {
			return register.Pose{}, fmt.Errorf("row %d of the pose has %d numbers, not 4", i+1, len(row))
		}
	}
	if l := rows[3]; l[0] != 0 || l[1] != 0 || l[2] != 0 || l[3] != 1 {
		return register.Pose{}, errors.New("the last row of the pose must be 0 0 0 1")
	}
	return rigid(rows)
}

// rigid returns the proper motion nearest to the rows of a matrix.
func rigid(rows [][]float64) (register.Pose, error) {
	var p register.Pose
	for i := range 3 {
		for k := range 3 {
			p.R[i][k] = rows[i][k]
		}
	}
	p.T = Vec{X: rows[0][3], Y: rows[1][3], Z: rows[2][3]}
	const tolerance = 1e-3 // a matrix written to three digits
	if !p.Proper(tolerance) {
		return p, errors.New("the pose is no rigid motion: its rows must be at right angles, one long, and not mirrored")
	}
	from := []Vec{{X: 1}, {Y: 1}, {Z: 1}, {X: -1}, {Y: -1}, {Z: -1}}
	to := make([]Vec, len(from))
	for i, v := range from {
		to[i] = p.Turn(v)
	}
	turn, _, err := register.Absolute(from, to)
	return register.Pose{R: turn.R, T: p.T}, err
}
