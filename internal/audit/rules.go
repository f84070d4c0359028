package audit

// A Rule is one check of the audit.
type Rule struct {
	ID       string
	Level    string // what it is about
	Sentence string // what it says, for people
	Source   string
}

// Ids of the rules.
const (
	readingOff      = "reading_off_its_repeats"
	panelOff        = "panel_off_in_session"
	sessionOff      = "session_off"
	patternOff      = "session_pattern_off"
	opinionOff      = "opinion_off"
	testerOffset    = "tester_offset"
	rigOffset       = "rig_offset"
	mislabelled     = "mislabelled_panel"
	testerMean      = "tester_mean_off_h"
	testerScatter   = "tester_scatter_k"
	testerExtreme   = "tester_extreme"
	tooConsistent   = "too_consistent"
	sameDigits      = "same_digits"
	copiedSession   = "copied_session"
	terminalDigits  = "terminal_digits"
	currentLow      = "current_low_for_light"
	sessionTrend    = "session_trend"
	ageingTrend     = "ageing_trend"
	dependsOnTester = "depends_on_one_tester"
	splitDiffers    = "direct_indirect_differ"
	sameFewTesters  = "same_few_testers"
)

// Rules returns all rules in their fixed order.
func Rules() []Rule {
	const deleted = "Cook and Weisberg 1982, deleted statistic; Benjamini and Hochberg 1995"
	return []Rule{
		{readingOff, "reading", "A reading is far from the other readings of the same panel in the same session.", deleted},
		{panelOff, "cell", "A panel reads far from where its other sessions put it, while the rest of the session fits.", deleted},
		{sessionOff, "session", "All panels of a session are off by about the same share.", deleted},
		{patternOff, "session", "No single panel of a session stands out, but together they are too far from where they should be.", "Mahalanobis 1936; chi-square with as many degrees of freedom as directions"},
		{opinionOff, "opinion", "Over several sessions a tester finds a panel far from where all others find it.", deleted},
		{testerOffset, "tester", "A tester reads all panels higher or lower than the others, beyond what testers usually differ.", "ISO 13528:2015, clause 9 (from memory)"},
		{rigOffset, "rig", "One rig of a tester reads differently from the tester's other rigs.", deleted},
		{mislabelled, "cell", "A doubted panel fits another panel model much better: the labels may be swapped.", "ratio of two normal densities above 1000 a candidate (common practice, no source)"},
		{testerMean, "tester", "A tester's mean deviation stands out among the testers.", "ISO 5725-2:1994, 7.3.1 (Mandel's h); Wilrich 2013"},
		{testerScatter, "tester", "A tester's repeated readings scatter more than those of others.", "ISO 5725-2:1994, 7.3 (Mandel's k, Cochran), as F test for unequal numbers of readings"},
		{testerExtreme, "tester", "A tester's mean deviation, or those of two testers, are outliers.", "Grubbs 1969; ISO 5725-2:1994, 7.3.4"},
		{tooConsistent, "tester", "Repeated readings agree better than their claimed uncertainty allows.", "lower tail of chi-square"},
		{sameDigits, "tester", "Readings of different sessions show exactly the same digits more often than by chance.", "common practice, no source"},
		{copiedSession, "session", "A stretch of readings equals one of an earlier session, value by value and in order.", "common practice, no source"},
		{terminalDigits, "tester", "The last displayed digits are not evenly spread.", "Mosimann et al. 1995 (from memory)"},
		{currentLow, "cell", "A panel gives less current for the measured light than with three or more other testers.", "the panel as its own sensor (idea of IEC 60904-2); Benjamini and Hochberg 1995; limits common practice"},
		{sessionTrend, "session", "Readings drift during a session.", "least squares and Kendall's tau, both at 1 %"},
		{ageingTrend, "panel", "A panel reads higher or lower from month to month.", "weighted regression"},
		{dependsOnTester, "panel", "Without one tester the estimate would leave its own interval.", "exact leave-one-out for given variances"},
		{splitDiffers, "panel", "Sessions that hold two panels side by side and the rest of the network contradict each other.", "Dias et al. 2010, node split; Holm 1979"},
		{sameFewTesters, "tester", "Several ranked panels were read by the same two testers only.", "common practice, no source"},
	}
}

// RuleIDs returns the ids of all rules.
func RuleIDs() []string {
	var ids []string
	for _, r := range Rules() {
		ids = append(ids, r.ID)
	}
	return ids
}

func ruleNamed(id string) Rule {
	for _, r := range Rules() {
		if r.ID == id {
			return r
		}
	}
	return Rule{ID: id}
}
