package demo

import (
	"encoding/json"
	"time"

	"evensun/internal/fieldtest"
)

// A Submission is one session to submit, with whose it is.
type Submission struct {
	Tester  int // index into Weekend.Testers
	Rig     int // index into Weekend.Rigs; the session itself names no rig
	Session fieldtest.Session
	Mistake string // the rule that should notice; empty: an honest session
}

// A Weekend is all that is submitted and the truth behind it.
type Weekend struct {
	Testers     []string // display names
	Rigs        []Rig
	PanelModels []fieldtest.PanelModel
	Prices      map[string][]fieldtest.Price // by slug
	Sessions    []Submission                 // in the order of submission
	Refused     []Submission                 // such that physics refuses them
	Truth       map[string]float64           // by slug: true power at standard test conditions over the rating
	Wiring      map[string]string            // by slug: how the sections are joined in truth
}

// copiedFrom is the session that a later one repeats.
const copiedFrom = 6

// NewWeekend returns the weekend of a seed whose last day is the day before last.
func NewWeekend(seed uint64, last time.Time) Weekend {
	w := newWorld(seed, last)
	out := Weekend{Testers: testers(), Rigs: w.rigs, Prices: map[string][]fieldtest.Price{}, Truth: map[string]float64{}, Wiring: map[string]string{}}
	for i := range w.panels {
		p := &w.panels[i]
		out.PanelModels = append(out.PanelModels, p.PanelModel)
		out.Truth[p.Slug], out.Wiring[p.Slug] = p.share, string(p.wiring)
		if prices := pricesOf(p, last); prices != nil {
			out.Prices[p.Slug] = prices
		}
	}
	all := plans()
	for i := range all {
		out.Sessions = append(out.Sessions, w.submission(i, &all[i], out.Sessions))
	}
	out.Refused = w.refused(out.Sessions)
	return out
}

// submission lets one plan happen.
func (w *world) submission(index int, p *plan, before []Submission) Submission {
	s := newScene(w, index, p)
	out := Submission{Tester: w.rigs[p.rig].Tester, Rig: p.rig, Mistake: p.mistake.rule}
	if p.mistake.rule == "copied_session" {
		out.Session = copied(&before[copiedFrom].Session, before[copiedFrom].Session.StartedAt.AddDate(0, 0, 5-p.daysBefore))
		return out
	}
	out.Session = s.session()
	if p.mistake.then != nil {
		p.mistake.then(s, &out.Session)
	}
	return out
}

// Body returns the submission as a client would send it, with the rig described in it.
func (w *Weekend) Body(s *Submission) ([]byte, error) {
	x := s.Session
	x.Rig.Rig = w.Rigs[s.Rig].Rig
	return json.Marshal(x)
}

// refused returns sessions that cannot be right.
func (w *world) refused(honest []Submission) []Submission {
	spoil := func(from int, rule string, change func(*fieldtest.Session)) Submission {
		out := honest[from]
		out.Mistake = rule
		out.Session = copied(&out.Session, out.Session.StartedAt.Add(7*time.Minute))
		change(&out.Session)
		return out
	}
	return []Submission{
		spoil(5, "current_above_isc", func(x *fieldtest.Session) {
			r := &x.Readings[0]
			r.CurrentA = new(tidy(10 * *r.CurrentA))
		}),
		spoil(4, "sun_below_horizon", func(x *fieldtest.Session) { shift(x, -12*time.Hour) }),
		spoil(0, "voltage_above_voc", func(x *fieldtest.Session) {
			r := &x.Readings[0]
			r.VoltageV = new(tidy(*r.VoltageV + 20))
		}),
		spoil(1, "covered_above_uncovered", func(x *fieldtest.Session) {
			raiseCovered(x, 1.3)
			x.Readings[1].PowerW = new(tidy(1.3 * *x.Readings[0].PowerW))
		}),
		spoil(3, "cell_temperature_implausible", func(x *fieldtest.Session) { x.Readings[0].BackTemperatureC = new(-60.0) }),
	}
}
