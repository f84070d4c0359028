package snapshot

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"slices"
	"strconv"
	"time"

	"github.com/google/uuid"

	"evensun/internal/fieldtest"
	"evensun/internal/ledger"
	"evensun/internal/ranking"
)

// A Snapshot is a manifest with its files. Raw is the manifest's canonical JSON, and
// SHA256 the hash of that.
type Snapshot struct {
	Manifest Manifest
	Raw      []byte
	SHA256   string
	Files    []File
}

// A Meta is what a snapshot says of itself that its inputs do not.
type Meta struct {
	Name         string
	CreatedAt    time.Time
	LedgerHead   ledger.Head // the row of the sequence that the inputs cover
	Methods      Methods     // Ranking is filled in
	Program      Program
	Contributors []string // names to be shown, in any order
	Readings     []byte   // content of readings.jsonl
}

// Build computes all rankings of the inputs, beginning cold, and freezes them. The order
// of anything in the inputs has no influence.
//
// Error: a name or a ledger row that does not fit, or that the context ended. A dataset
// that cannot be fitted is named in the manifest instead.
func Build(ctx context.Context, in ranking.Inputs, meta Meta) (*Snapshot, error) {
	if !ValidName(meta.Name) {
		return nil, fmt.Errorf("snapshot cannot be named %q, want a week as 2026-w48 or 2026-w48-2", meta.Name)
	}
	if meta.LedgerHead.Sequence != in.Through {
		return nil, fmt.Errorf("snapshot %s: its ledger row is %d, its inputs cover %d", meta.Name, meta.LedgerHead.Sequence, in.Through)
	}
	in.At = meta.CreatedAt
	in = Canonical(in)
	made, err := compute(ctx, in)
	if err != nil {
		return nil, fmt.Errorf("snapshot %s: %w", meta.Name, err)
	}
	files := append(made.files, fileOf(ReadingsJSONL, jsonlType, meta.Readings))
	m := manifestOf(&in, made, meta)
	for _, f := range files {
		m.Files = append(m.Files, f.FileInfo)
	}
	return assemble(m, files)
}

// assemble hashes a manifest.
func assemble(m Manifest, files []File) (*Snapshot, error) {
	raw, err := json.Marshal(&m)
	if err == nil {
		raw, err = ledger.Canonical(raw)
	}
	if err != nil {
		return nil, fmt.Errorf("manifest of %s: %w", m.Name, err)
	}
	return &Snapshot{Manifest: m, Raw: raw, SHA256: hashOf(raw), Files: files}, nil
}

// Open puts a snapshot together from what is stored of it: the manifest's bytes, the
// hash that it was published under, and the files. Whether they fit is for Verify.
func Open(raw []byte, sha256 string, files []File) (*Snapshot, error) {
	s := &Snapshot{Raw: raw, SHA256: sha256, Files: files}
	if err := json.Unmarshal(raw, &s.Manifest); err != nil {
		return nil, fmt.Errorf("manifest: %w", err)
	}
	return s, nil
}

// File returns a file by its name.
func (s *Snapshot) File(name string) (File, bool) {
	i := slices.IndexFunc(s.Files, func(f File) bool { return f.Name == name })
	if i < 0 {
		return File{}, false
	}
	return s.Files[i], true
}

// computed is all that follows from inputs alone.
type computed struct {
	files    []File
	lists    []Listed
	datasets []Dataset
	failed   []Failed
	sessions int
}

// compute ranks canonical inputs from a cold start and makes the files.
func compute(ctx context.Context, in ranking.Inputs) (*computed, error) {
	out, err := ranking.Compute(ctx, in, nil)
	if err != nil {
		return nil, err
	}
	c := &computed{failed: []Failed{}, datasets: []Dataset{}}
	for _, f := range out.Failed {
		c.failed = append(c.failed, Failed{Dataset: f.Dataset, Reason: f.Err.Error()})
	}
	for _, f := range out.Fits {
		c.datasets = append(c.datasets, Dataset{Name: f.Name, Seed: strconv.FormatUint(f.Seed, 10), Readings: len(f.Rows),
			Sessions: len(f.Sessions), Testers: len(f.Testers), Panels: len(f.Panels)})
	}
	lists, formless := listed(out)
	c.lists, c.failed = lists, append(c.failed, formless...)
	sessions := sessionsOf(in.Observations)
	c.sessions = len(sessions)
	return c, c.encode(ctx, in, out, sessions)
}

// encode makes the files.
func (c *computed) encode(ctx context.Context, in ranking.Inputs, out *ranking.Output, sessions []sessionLine) error {
	for _, f := range []struct {
		name, mediaType string
		content         func() ([]byte, error)
	}{
		{RankingsJSON, jsonType, func() ([]byte, error) { return encodeRankings(c.lists) }},
		{RankingsCSV, csvType, func() ([]byte, error) { return encodeCSV(c.lists) }},
		{FitsJSON, jsonType, func() ([]byte, error) { return encodeFits(ctx, out) }},
		{SessionsJSONL, jsonlType, func() ([]byte, error) { return encodeSessions(sessions) }},
		{InputsJSONL, jsonlType, func() ([]byte, error) { return encodeInputs(in) }},
	} {
		content, err := f.content()
		if err != nil {
			return fmt.Errorf("%s: %w", f.name, err)
		}
		c.files = append(c.files, fileOf(f.name, f.mediaType, content))
	}
	return nil
}

func fileOf(name, mediaType string, content []byte) File {
	return File{FileInfo{Name: name, MediaType: mediaType, Size: int64(len(content)), SHA256: hashOf(content)}, content}
}

func hashOf(content []byte) string {
	sum := sha256.Sum256(content)
	return hex.EncodeToString(sum[:])
}

// manifestOf describes a computation; its files are still to be listed.
func manifestOf(in *ranking.Inputs, c *computed, meta Meta) Manifest {
	m := Manifest{
		Name: meta.Name, Format: Format, CreatedAt: in.At, ComputedThrough: in.Through, LedgerHead: meta.LedgerHead,
		Methods: meta.Methods, Rules: in.Rules, Program: meta.Program, Datasets: c.datasets, Failed: c.failed, Counts: countsOf(in),
		Files: []FileInfo{}, Licence: Licence, LicenceURL: LicenceURL, Contributors: append([]string{}, meta.Contributors...),
	}
	m.LedgerHead.At = m.LedgerHead.At.UTC()
	m.Methods.Ranking = ranking.Version
	m.Counts.Rankings, m.Counts.Sessions = len(c.lists), c.sessions
	slices.Sort(m.Contributors)
	m.Contributors = slices.Compact(m.Contributors)
	m.Citation = cite(&m)
	return m
}

func countsOf(in *ranking.Inputs) Counts {
	c := Counts{PanelModels: len(in.Panels), Readings: len(in.Observations)}
	testers := map[uuid.UUID]bool{}
	for i := range in.Observations {
		testers[in.Observations[i].TesterID] = true
		switch in.Observations[i].State {
		case fieldtest.Counted:
			c.Counted++
		case fieldtest.Held:
			c.Held++
		case fieldtest.Excluded:
			c.Excluded++
		}
	}
	c.Testers = len(testers)
	return c
}
