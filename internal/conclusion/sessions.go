package conclusion

import (
	"cmp"
	"math"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"

	"evensun/internal/fieldtest"
)

// A Tilted is one tilted reading that counts.
type Tilted struct {
	SessionID, TesterID uuid.UUID
	Panel               string
	TakenAt             time.Time
	ShareOfRating       float64 // power at standard test conditions over the rating
	U                   float64 // relative standard uncertainty of this reading alone
	ModelU              float64 // relative, of the panel model's coefficients
}

// Orders returns, by panel model, its place in each session with other panels, newest
// first. Within a session sky, rig and tester are one, so that what they err by is one
// too.
func Orders(readings []Tilted) map[string][]fieldtest.SessionOrder {
	sessions := map[uuid.UUID][]*Tilted{}
	for i := range readings {
		sessions[readings[i].SessionID] = append(sessions[readings[i].SessionID], &readings[i])
	}
	out := map[string][]fieldtest.SessionOrder{}
	for id, all := range sessions {
		places := placesIn(all)
		if len(places) < 2 {
			continue
		}
		o := fieldtest.SessionOrder{SessionID: id, TesterID: all[0].TesterID, TakenAt: all[0].TakenAt, Panels: places}
		for _, r := range all {
			if r.TakenAt.Before(o.TakenAt) {
				o.TakenAt = r.TakenAt
			}
		}
		for k := range places {
			o.Place = k + 1
			out[places[k].PanelModel] = append(out[places[k].PanelModel], o)
		}
	}
	for panel, list := range out {
		slices.SortFunc(list, func(a, b fieldtest.SessionOrder) int {
			return cmp.Or(b.TakenAt.Compare(a.TakenAt), strings.Compare(a.SessionID.String(), b.SessionID.String()))
		})
		out[panel] = list[:min(len(list), mostOrders)]
	}
	return out
}

// mostOrders bounds what is told of sessions.
const mostOrders = 100

// placesIn orders the panels of one session by their mean share of rating.
func placesIn(readings []*Tilted) []fieldtest.SessionPlace {
	type mean struct{ sum, own, model, n float64 }
	means := map[string]*mean{}
	for _, r := range readings {
		if means[r.Panel] == nil {
			means[r.Panel] = &mean{}
		}
		m := means[r.Panel]
		m.sum, m.own, m.n = m.sum+r.ShareOfRating, m.own+r.U*r.U, m.n+1
		m.model = max(m.model, r.ModelU)
	}
	places := make([]fieldtest.SessionPlace, 0, len(means))
	for panel, m := range means {
		share := m.sum / m.n
		u := share * math.Hypot(math.Sqrt(m.own)/m.n, m.model)
		places = append(places, fieldtest.SessionPlace{PanelModel: panel, ShareOfRating: fieldtest.Significant(share), ShareU: fieldtest.Significant(u)})
	}
	slices.SortFunc(places, func(a, b fieldtest.SessionPlace) int {
		return cmp.Or(cmp.Compare(b.ShareOfRating, a.ShareOfRating), strings.Compare(a.PanelModel, b.PanelModel))
	})
	const normal95 = 1.96
	for k := range len(places) - 1 {
		a, b := &places[k], places[k+1]
		a.AheadOfNext = a.ShareOfRating-b.ShareOfRating > normal95*math.Hypot(a.ShareU, b.ShareU)
	}
	return places
}
