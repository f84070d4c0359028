package intake

import (
	"context"
	"errors"
	"fmt"
	"reflect"

	"evensun/internal/fieldtest"
)

// load finds the rig and the panel models of a session, or takes those that it
// describes. All that is missing is told at once.
func (s *Service) load(ctx context.Context, j *job, dryRun bool) error {
	var faults []fieldtest.Fault
	fault, err := s.loadRig(ctx, j, dryRun)
	if err != nil {
		return err
	}
	if fault != nil {
		faults = append(faults, *fault)
	}
	more, err := s.loadPanels(ctx, j, dryRun)
	if err != nil {
		return err
	}
	faults = append(faults, more...)
	if len(faults) == 0 {
		return nil
	}
	return &fieldtest.Refusal{Kind: fieldtest.ValidationFailed, Detail: "The session refers to something that is not there, or not yours. Nothing was stored.", Faults: faults}
}

// loadRig finds the rig by id, or takes the inline one; a submission stores that as a
// new rig of the tester.
func (s *Service) loadRig(ctx context.Context, j *job, dryRun bool) (*fieldtest.Fault, error) {
	ref := &j.session.Rig
	if ref.ID == nil {
		j.rig.Rig, j.refs.Rig = ref.Rig, ref.Rig
		if dryRun {
			return nil, nil
		}
		return nil, s.inlineRig(ctx, j)
	}
	rig, err := s.store.Rig(ctx, *ref.ID)
	refusal, missing := errors.AsType[*fieldtest.Refusal](err)
	switch {
	case missing && refusal.Kind == fieldtest.NotFound:
		return &fieldtest.Fault{Pointer: "#/rig/id", Code: "unknown", Value: ref.ID.String(), Reason: "There is no rig with this id. Create it first, or describe it inline."}, nil
	case err != nil:
		return nil, err
	case !dryRun && rig.TesterID != j.who.TesterID:
		return &fieldtest.Fault{Pointer: "#/rig/id", Code: "not_yours", Value: ref.ID.String(), Reason: "This rig belongs to another tester: its meter's errors would be mixed up with yours. Describe your own."}, nil
	}
	j.rig, j.refs.Rig = rig, rig.Rig
	return nil, nil
}

// inlineRig takes the tester's stored rig that was described alike, or makes a new one: a
// rig described in every session is one rig.
func (s *Service) inlineRig(ctx context.Context, j *job) error {
	id, err := s.store.RigNamed(ctx, j.who.TesterID, j.rig.Name)
	refusal, ok := errors.AsType[*fieldtest.Refusal](err)
	switch missing := ok && refusal.Kind == fieldtest.NotFound; {
	case err != nil && !missing:
		return err
	case !missing:
		known, err := s.store.Rig(ctx, id)
		if err != nil {
			return err
		}
		if reflect.DeepEqual(known.Rig, j.rig.Rig) {
			j.rig = known
			return nil
		}
	}
	if id, err = s.newID(); err != nil {
		return err
	}
	j.rig.ID, j.rig.TesterID, j.rig.Revision, j.newRig = id, j.who.TesterID, 1, true
	return nil
}

// loadPanels finds the panel model of every reading.
func (s *Service) loadPanels(ctx context.Context, j *job, dryRun bool) ([]fieldtest.Fault, error) {
	slugs := distinctSlugs(j.session.Readings)
	known, err := s.store.PanelModelsNamed(ctx, slugs)
	if err != nil {
		return nil, err
	}
	j.models = known
	panels, inline, faults := resolvePanels(&j.session, known, dryRun)
	j.refs.Panels = panels
	if len(faults) > 0 || dryRun {
		return faults, nil
	}
	return nil, s.createModels(j, inline)
}

// resolvePanels finds the panel model of every reading among the known ones and those
// that the session describes itself.
func resolvePanels(s *fieldtest.Session, known map[string]fieldtest.StoredPanelModel, dryRun bool) (panels []*fieldtest.PanelModel, inline map[string]*fieldtest.PanelModel, faults []fieldtest.Fault) {
	inline, panels = map[string]*fieldtest.PanelModel{}, make([]*fieldtest.PanelModel, len(s.Readings))
	stored := map[string]*fieldtest.PanelModel{}
	var unnamed []*fieldtest.PanelModel
	for slug, m := range known {
		model := m.PanelModel
		stored[slug] = &model
	}
	for i := range s.Readings {
		p := &s.Readings[i].Panel
		pointer := fmt.Sprintf("#/readings/%d/panel/model", i)
		switch {
		case p.Model != "" && stored[p.Model] != nil:
			panels[i] = stored[p.Model]
		case p.Nameplate != nil && p.Model != "":
			panels[i] = inlineModel(inline, p)
		case p.Nameplate != nil && dryRun:
			panels[i] = sameDescribed(&unnamed, inlineModel(inline, p))
		case p.Model != "" && inline[p.Model] != nil: // described by an earlier reading
			panels[i] = inline[p.Model]
		case p.Model == "":
			faults = append(faults, fieldtest.Fault{Pointer: pointer, Code: "required", Reason: "A submission names the panel model; a dry run may give a nameplate instead."})
		default:
			faults = append(faults, fieldtest.Fault{Pointer: pointer, Code: "unknown", Value: p.Model, Reason: "There is no panel model with this slug. Create it, or give its nameplate here."})
		}
	}
	return panels, inline, faults
}

// Offline judges a session that describes its rig and panels itself, without a store:
// the answer of a dry run.
func Offline(ctx context.Context, session fieldtest.Session, opts JudgeOptions) (*fieldtest.Receipt, error) {
	s := Prepare(session)
	panels, _, faults := resolvePanels(&s, nil, true)
	if s.Rig.ID != nil {
		faults = append([]fieldtest.Fault{{Pointer: "#/rig/id", Code: "unknown", Value: s.Rig.ID.String(), Reason: "Without a server the rig must be described inline."}}, faults...)
	}
	if len(faults) > 0 {
		return nil, &fieldtest.Refusal{Kind: fieldtest.ValidationFailed, Detail: "The session refers to something that is not in the file.", Faults: faults}
	}
	return Judge(ctx, &s, References{Rig: s.Rig.Rig, Panels: panels}, opts)
}

// sameDescribed returns the first model without a name that was described alike: readings
// of one panel belong together, named or not.
func sameDescribed(unnamed *[]*fieldtest.PanelModel, m *fieldtest.PanelModel) *fieldtest.PanelModel {
	for _, known := range *unnamed {
		if reflect.DeepEqual(known, m) {
			return known
		}
	}
	*unnamed = append(*unnamed, m)
	return m
}

// inlineModel joins what a reading says of its panel. Readings of one slug share the
// first description.
func inlineModel(inline map[string]*fieldtest.PanelModel, p *fieldtest.PanelRef) *fieldtest.PanelModel {
	if p.Model != "" && inline[p.Model] != nil {
		return inline[p.Model]
	}
	m := &fieldtest.PanelModel{Slug: p.Model, Maker: p.Maker, Model: p.ModelName, Nameplate: p.Nameplate.Canonical()}
	if m.Maker == "" {
		m.Maker = "unknown"
	}
	if m.Model == "" {
		m.Model = p.Model
	}
	if p.Construction != nil {
		m.Construction = *p.Construction
	}
	if p.Size != nil {
		m.Size = *p.Size
	}
	if p.Model != "" {
		inline[p.Model] = m
	}
	return m
}

// createModels makes records of the models that a submission describes.
func (s *Service) createModels(j *job, inline map[string]*fieldtest.PanelModel) error {
	for _, slug := range distinctSlugs(j.session.Readings) {
		m := inline[slug]
		if m == nil {
			continue
		}
		id, err := s.newID()
		if err != nil {
			return err
		}
		stored := fieldtest.StoredPanelModel{PanelModel: *m, ID: id, Revision: 1, CreatedBy: j.who.TesterID}
		j.created = append(j.created, stored)
		j.models[slug] = stored
	}
	return nil
}

// distinctSlugs returns the slugs of a session in order of appearance.
func distinctSlugs(readings []fieldtest.Reading) []string {
	seen := map[string]bool{}
	var slugs []string
	for i := range readings {
		if slug := readings[i].Panel.Model; slug != "" && !seen[slug] {
			seen[slug] = true
			slugs = append(slugs, slug)
		}
	}
	return slugs
}
