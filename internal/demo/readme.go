package demo

import (
	"encoding/json"
	"time"

	"evensun/internal/fieldtest"
)

// ReadmeSession returns the body of a small honest session against two panel models of
// the weekend, with its rig described in it, dated the day before last.
func ReadmeSession(last time.Time) ([]byte, error) {
	return json.Marshal(readme(last))
}

// ReadmeRefused returns the same session with one current far above what the sun and
// the nameplate allow: the service refuses it.
func ReadmeRefused(last time.Time) ([]byte, error) {
	x := readme(last)
	x.Readings[1].CurrentA = new(tidy(2 * *x.Readings[1].CurrentA))
	return json.Marshal(x)
}

func readme(last time.Time) fieldtest.Session {
	w := newWorld(1, last)
	p := plan{rig: mirelleInline, site: ambersend, fromNoonMin: -30, sky: clear, sensor: cell, panels: []int{tarn200, calbrae140}, note: "first try"}
	x := newScene(w, len(plans()), &p).session()
	x.ClientRef = "first-try"
	describe(&x, w)
	x.Rig.Rig = w.rigs[p.rig].Rig
	x.Rig.Name = "my inline meter"
	return x
}

// describe gives the nameplates with the panels, so that the session can be checked
// where no server knows them.
func describe(x *fieldtest.Session, w *world) {
	for i := range x.Readings {
		for k := range w.panels {
			if p := &w.panels[k].PanelModel; p.Slug == x.Readings[i].Panel.Model {
				x.Readings[i].Panel.Nameplate, x.Readings[i].Panel.Construction, x.Readings[i].Panel.Size = &p.Nameplate, &p.Construction, &p.Size
			}
		}
	}
}
