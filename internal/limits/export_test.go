package limits

// Worst returns the highest severity in the report, OK when nothing is doubted.
func (r *Report) Worst() Severity {
	worst := OK
	for i := range r.Doubts {
		worst = max(worst, r.Doubts[i].Severity)
	}
	return worst
}
