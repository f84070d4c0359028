package snapshot

import (
	"encoding/json"
	"fmt"
	"strings"
)

// A Citation says how to name a snapshot in a text, in the Citation File Format and in
// BibTeX. Whoever cites adds the measure and the day of retrieval.
type Citation struct {
	Text   string `json:"text"`
	CFF    string `json:"cff"`
	BibTeX string `json:"bibtex"`
}

// cite makes the citation of a manifest that is complete but for it.
func cite(m *Manifest) Citation {
	return Citation{Text: citeText(m), CFF: citeCFF(m), BibTeX: citeBibTeX(m)}
}

func title(m *Manifest) string {
	return fmt.Sprintf("Field tests of portable photovoltaic panels, snapshot %s", m.Name)
}

// facts are what a reader needs to judge a citation: method, extent and review.
func facts(m *Manifest) string {
	return fmt.Sprintf("Method %s, ranking %s; %d readings counted, %d held for review, %d excluded by reviewers",
		m.Methods.Normalise, m.Methods.Ranking, m.Counts.Counted, m.Counts.Held, m.Counts.Excluded)
}

func citeText(m *Manifest) string {
	return fmt.Sprintf("%s (%d). %s. evensun. %s. Ledger %d. %s. Measure: [measure]. Retrieved: [date].",
		authors(m, "; "), m.CreatedAt.Year(), title(m), facts(m), m.LedgerHead.Sequence, m.Licence)
}

func authors(m *Manifest, between string) string {
	if len(m.Contributors) == 0 {
		return "Without contributors"
	}
	return strings.Join(m.Contributors, between)
}

func citeCFF(m *Manifest) string {
	var b strings.Builder
	fmt.Fprintf(&b, "cff-version: 1.2.0\nmessage: %s\ntype: dataset\ntitle: %s\nversion: %s\ndate-released: %s\nlicense: %s\nabstract: %s\nauthors:\n",
		quoted("Please cite the snapshot with the measure and the day of retrieval."), quoted(title(m)), quoted(m.Name),
		m.CreatedAt.Format("2006-01-02"), m.Licence, quoted(facts(m)+"."))
	if len(m.Contributors) == 0 {
		fmt.Fprintf(&b, "  - name: %s\n", quoted("evensun"))
	}
	for _, name := range m.Contributors {
		fmt.Fprintf(&b, "  - name: %s\n", quoted(name))
	}
	return b.String()
}

// quoted returns a double-quoted YAML scalar on one line: every JSON text is one.
func quoted(s string) string {
	var b strings.Builder
	text := json.NewEncoder(&b)
	text.SetEscapeHTML(false)
	if err := text.Encode(s); err != nil { // a text always encodes
		return `""`
	}
	return strings.TrimSpace(b.String())
}

func citeBibTeX(m *Manifest) string {
	names := make([]string, 0, len(m.Contributors))
	for _, name := range m.Contributors {
		names = append(names, "{"+texed(name)+"}")
	}
	if len(names) == 0 {
		names = append(names, "{evensun}")
	}
	return fmt.Sprintf("@misc{evensun-%s,\n  author = {%s},\n  title = {%s},\n  year = {%d},\n  version = {%s},\n  note = {%s. Measure: [measure]. Retrieved: [date]}\n}\n",
		m.Name, strings.Join(names, " and "), texed(title(m)), m.CreatedAt.Year(), m.Name, texed(facts(m)+"; "+m.Licence))
}

// texed escapes what TeX would read as a command. Braces are left out: an unbalanced
// one would end the field.
func texed(s string) string {
	return strings.NewReplacer(`\`, `\textbackslash `, "{", "", "}", "", "%", `\%`, "&", `\&`, "$", `\$`, "#", `\#`, "_", `\_`,
		"~", `\textasciitilde `, "^", `\textasciicircum `, "\n", " ", "\r", " ").Replace(s)
}
