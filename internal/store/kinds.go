package store

// The kinds of rows in the ledger.
const (
	kindTesterCreated    = "tester_created"
	kindTesterTrusted    = "tester_trusted"
	kindKeyCreated       = "key_created"
	kindKeyRevoked       = "key_revoked"
	kindModelCreated     = "panel_model_created"
	kindModelRevised     = "panel_model_revised"
	kindPriceAdded       = "price_added"
	kindRigCreated       = "rig_created"
	kindRigRevised       = "rig_revised"
	kindSessionAccepted  = "session_accepted"
	kindSessionRevised   = "session_revised"
	kindSessionWithdrawn = "session_withdrawn"
	kindSessionRestored  = "session_restored"
	kindVerdictGiven     = "verdict_given"
	kindFindingsRaised   = "findings_raised"
	kindAudit            = "audit"
	kindResultsReplaced  = "results_replaced"
	kindSnapshotCreated  = "snapshot_created"
)
