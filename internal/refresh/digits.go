package refresh

import (
	"context"

	"github.com/google/uuid"

	"evensun/internal/audit"
	"evensun/internal/fieldtest"
	"evensun/internal/store"
)

// digits are the raw readings of all sessions so far. A later read continues where the
// last one ended; revisions that are not current any more stay, since the audit looks
// only at readings that the inputs hold.
type digits struct {
	readings []audit.Raw
	rigs     []uuid.UUID // of the readings
	after    *store.Cursor
}

// readDigits reads on and returns all raw readings with their meters' resolutions.
func (w *Worker) readDigits(ctx context.Context) ([]audit.Raw, error) {
	d := &w.digits
	page := store.Page{Size: 1000, After: d.after}
	for {
		list, next, asOf, err := w.store.Readings(ctx, store.ReadingFilter{}, page)
		if err != nil {
			return nil, err
		}
		d.add(list)
		if next == nil {
			break
		}
		page.After, page.AsOf, d.after = next, asOf, next
	}
	resolutions, err := w.resolutions(ctx)
	if err != nil {
		return nil, err
	}
	for i := range d.readings {
		d.readings[i].Resolution = resolutions[d.rigs[i]]
	}
	return d.readings, nil
}

// add appends a page. The last page has no cursor for what follows, so that it is read
// again; what is there already is not added twice.
func (d *digits) add(list []store.FlatReading) {
	known := map[uuid.UUID]bool{}
	for i := max(0, len(d.readings)-1000); i < len(d.readings); i++ {
		known[d.readings[i].ReadingID] = true
	}
	for _, r := range list {
		if known[r.ID] {
			continue
		}
		d.readings = append(d.readings, audit.Raw{
			ReadingID: r.ID, SessionID: r.SessionID, TesterID: r.TesterID, Label: r.Label, TakenAt: r.TakenAt,
			VoltageV: r.VoltageV, CurrentA: r.CurrentA, PowerW: r.PowerW,
		})
		d.rigs = append(d.rigs, r.RigID)
	}
}

// resolutions reads the last displayed steps of all rigs as they are described now.
func (w *Worker) resolutions(ctx context.Context) (map[uuid.UUID]fieldtest.Resolution, error) {
	all := map[uuid.UUID]fieldtest.Resolution{}
	page := store.Page{Size: 1000}
	for {
		list, next, asOf, err := w.store.Rigs(ctx, store.RigFilter{}, page)
		if err != nil {
			return nil, err
		}
		for _, r := range list {
			all[r.ID] = r.Resolution
		}
		if next == nil {
			return all, nil
		}
		page.After, page.AsOf = next, asOf
	}
}
