package combine

import (
	"context"
	"io"
)

// FamilyDof returns the degrees of freedom of the list of all panels of a table.
func FamilyDof(ctx context.Context, r io.Reader, opt Options) (float64, error) {
	t, err := readTable(ctx, r)
	if err != nil {
		return 0, err
	}
	m, err := newModel(t, opt)
	if err != nil {
		return 0, err
	}
	f, err := m.fit(ctx)
	if err != nil {
		return 0, err
	}
	errors, err := f.StandardErrors(ctx)
	if err != nil {
		return 0, err
	}
	contrasts, err := m.contrasts(ctx, f, errors)
	return m.familyDof(f, m.parts()[0], contrasts), err
}
