package inspect

import "math"

// net is a lattice of four parameters laid over those that explain some vertices.
type net struct {
	at, step [4]float64
	cov      [4][4]float64
}

// settle moves and stretches the net until it holds the likely values: at becomes their mean, each
// weighted by its likelihood for normal noise, exp(-χ²/2), and cov their covariance. misfit is the
// sum of squared distances, +Inf where no such form is; free the degrees of freedom, floor the
// least standard deviation of a vertex. After the second pass adapt is called before each with the
// mean so far.
func (n *net) settle(misfit func(k [4]float64) float64, free, floor float64, adapt func(k [4]float64)) {
	const half, passes = 3, 6
	for pass := range passes {
		if pass > 1 {
			adapt(n.at)
		}
		base := misfit(n.at)
		var2 := math.Max(floor*floor, base/free)
		var sum float64
		var mean [4]float64
		n.cov = [4][4]float64{}
		var i [4]int
		for i[0] = -half; i[0] <= half; i[0]++ {
			for i[1] = -half; i[1] <= half; i[1]++ {
				for i[2] = -half; i[2] <= half; i[2]++ {
					for i[3] = -half; i[3] <= half; i[3]++ {
						k := n.at
						var d [4]float64
						for r := range 4 {
							d[r] = n.step[r] * float64(i[r])
							k[r] += d[r]
						}
						g := math.Exp(math.Min(50, (base-misfit(k))/(2*var2)))
						sum += g
						for r := range 4 {
							mean[r] += float64(g * d[r])
							for c := range 4 {
								n.cov[r][c] += float64(g * d[r] * d[c])
							}
						}
					}
				}
			}
		}
		for r := range 4 {
			mean[r] /= sum
		}
		for r := range 4 {
			n.at[r] += mean[r]
			for c := range 4 {
				n.cov[r][c] = n.cov[r][c]/sum - float64(mean[r]*mean[c])
			}
			// A net of six standard deviations holds them all.
			n.step[r] = math.Max(0.4*n.step[r], math.Min(2*n.step[r], 0.9*math.Sqrt(math.Max(0, n.cov[r][r]))))
		}
	}
}
