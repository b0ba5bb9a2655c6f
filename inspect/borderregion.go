package inspect

// sumRegions sums up the stations by region, in the order of their first station.
func sumRegions(st []Station) []BorderRegion {
	var names []string
	by := map[string][]int{}
	for i, s := range st {
		if by[s.Region] == nil {
			names = append(names, s.Region)
		}
		by[s.Region] = append(by[s.Region], i)
	}
	out := []BorderRegion{}
	for _, name := range names {
		r := BorderRegion{Region: name}
		var th, hi, u []float64
		for _, i := range by[name] {
			r.Stations++
			if i > 0 && st[i-1].Region == name && st[i-1].Side == st[i].Side {
				r.LengthMM += st[i].SMM - st[i-1].SMM
			}
			if v := st[i].ThicknessMM; v != nil {
				th = append(th, *v)
				u = append(u, *st[i].ThicknessUMM)
			}
			if v := st[i].HeightMM; v != nil {
				hi = append(hi, *v)
			}
		}
		r.Measured = len(th)
		if len(th) > 0 {
			r.MinMM, r.MedianMM, r.MaxMM = ptr(quantile(th, 0)), ptr(median(th)), ptr(quantile(th, 1))
			r.ThicknessUMM = ptr(median(u))
		} else {
			r.Unmeasured = st[by[name][0]].Unmeasured
		}
		if len(hi) > 0 {
			r.HeightMM = ptr(median(hi))
		}
		out = append(out, r)
	}
	return out
}
