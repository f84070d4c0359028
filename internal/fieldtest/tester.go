package fieldtest

import (
	"time"

	"github.com/google/uuid"
)

// A Tester is a person or group that submits under a public name.
type Tester struct {
	ID          uuid.UUID `json:"id"`
	DisplayName string    `json:"display_name"`
	Trusted     bool      `json:"trusted"` // else sessions are held until three were kept
	CreatedAt   time.Time `json:"created_at"`
	Sequence    int64     `json:"sequence"`
}

// A Key is what a tester shows to write. The secret is never stored.
type Key struct {
	ID        string     `json:"id"` // the public part, 10 characters
	TesterID  uuid.UUID  `json:"tester_id"`
	Role      Role       `json:"role"`
	Name      string     `json:"name"`
	CreatedAt time.Time  `json:"created_at"`
	ExpiresAt time.Time  `json:"expires_at"`
	RevokedAt *time.Time `json:"revoked_at"`
	LastUsed  *string    `json:"last_used_on"` // day, YYYY-MM-DD
	ParentID  *string    `json:"parent_id"`    // the key that made it; nil: made on the server or with the operator's setting
}

// A Caller is who makes a request: nobody, a key's owner, or the operator by setting.
type Caller struct {
	TesterID uuid.UUID // zero for anonymous and for the operator of the settings
	KeyID    string
	Role     Role
	Trusted  bool
}

// Is tells whether the caller may do what role may do.
func (c Caller) Is(role Role) bool {
	return rankOf(c.Role) >= rankOf(role)
}

func rankOf(r Role) int {
	switch r {
	case RoleTester:
		return 1
	case RoleReviewer:
		return 2
	case RoleOperator:
		return 3
	}
	return 0
}
