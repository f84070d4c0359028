package snapshot

import (
	"runtime"
	"runtime/debug"
	"strings"
	"time"

	"evensun/internal/ledger"
	"evensun/internal/ranking"
)

// Format is the version of the manifest and the files.
const Format = "1"

// The licence of all data.
const (
	Licence    = "CC-BY-4.0"
	LicenceURL = "https://creativecommons.org/licenses/by/4.0/"
)

// A Manifest says what a snapshot holds and how it was made.
type Manifest struct {
	Name            string        `json:"name"` // as 2026-w48
	Format          string        `json:"format"`
	CreatedAt       time.Time     `json:"created_at"`
	ComputedThrough int64         `json:"computed_through"` // ledger sequence that the inputs cover
	LedgerHead      ledger.Head   `json:"ledger_head"`      // the ledger's row of that sequence
	Methods         Methods       `json:"methods"`
	Rules           ranking.Rules `json:"rules"`
	Program         Program       `json:"program"`
	Datasets        []Dataset     `json:"datasets"`
	Failed          []Failed      `json:"failed"`
	Counts          Counts        `json:"counts"`
	Files           []FileInfo    `json:"files"`
	Licence         string        `json:"licence"`
	LicenceURL      string        `json:"licence_url"`
	Contributors    []string      `json:"contributors"`
	Citation        Citation      `json:"citation"`
}

// Methods are the versions of what turned submissions into rankings.
type Methods struct {
	Normalise string `json:"normalise"` // rules, models and translation of readings
	Ranking   string `json:"ranking"`
	Contract  string `json:"contract"` // of the API
}

// A Program says which program on which kind of machine computed a snapshot. Equal
// builds give equal bytes.
type Program struct {
	GOARCH   string `json:"goarch"`
	Level    string `json:"goarch_level"` // of instructions, such as v3 of amd64; empty: unknown
	Go       string `json:"go"`
	Module   string `json:"module"`   // version; empty: unknown
	Revision string `json:"revision"` // of the source; empty: unknown
	Modified bool   `json:"modified"` // the source was changed after that revision
}

// A Dataset is one fit, with the seed of its drawn numbers.
type Dataset struct {
	Name     string `json:"name"`
	Seed     string `json:"seed"` // decimal; past what JSON numbers hold exactly
	Readings int    `json:"readings"`
	Sessions int    `json:"sessions"`
	Testers  int    `json:"testers"`
	Panels   int    `json:"panel_models"`
}

// A Failed is a dataset without a fit or a list without a form, and why.
type Failed struct {
	Dataset string `json:"dataset"`
	Reason  string `json:"reason"`
}

// Counts say how much a snapshot holds.
type Counts struct {
	Rankings    int `json:"rankings"`
	PanelModels int `json:"panel_models"`
	Testers     int `json:"testers"`
	Sessions    int `json:"sessions"`
	Readings    int `json:"readings"`
	Counted     int `json:"readings_counted"`
	Held        int `json:"readings_held"`
	Excluded    int `json:"readings_excluded"`
}

// A FileInfo names a file and what its bytes are.
type FileInfo struct {
	Name      string `json:"name"`
	MediaType string `json:"media_type"`
	Size      int64  `json:"size"` // bytes
	SHA256    string `json:"sha256"`
}

// ThisProgram returns the build of the running program. The level is part of it: from
// v3 on, amd64 fuses a product and a sum, which changes last bits.
func ThisProgram() Program {
	b := Program{GOARCH: runtime.GOARCH, Go: runtime.Version()}
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return b
	}
	b.Module = info.Main.Version
	for _, s := range info.Settings {
		switch s.Key {
		case "vcs.revision":
			b.Revision = s.Value
		case "vcs.modified":
			b.Modified = s.Value == "true"
		case "GO" + strings.ToUpper(runtime.GOARCH):
			b.Level = s.Value
		}
	}
	return b
}
