package audit

import (
	"time"

	"github.com/google/uuid"

	"evensun/internal/fieldtest"
)

// A Raw is what a tester read off the instruments: the checks for copied or invented
// numbers look at digits, not at results. A nil pointer was not given.
type Raw struct {
	ReadingID  uuid.UUID
	SessionID  uuid.UUID
	TesterID   uuid.UUID
	Label      string
	TakenAt    time.Time
	VoltageV   *float64
	CurrentA   *float64
	PowerW     *float64
	Resolution fieldtest.Resolution // last displayed steps of the rig's meter
}
