package station

import "fmt"

// Cause is what an alarm came from, as the person found who closed it.
type Cause uint8

// The causes. Their names are part of the log, the history and the interface.
const (
	NoCause Cause = iota // none was given
	CauseLeak
	CauseWear
	CauseBlockage
	CauseSupply
	CauseSetting
	CauseUse
	CauseSensor
	CausePlannedWork
	NothingFound // nothing was behind the alarm
	NumCauses
)

var causeNames = [NumCauses]string{"", "leak", "wear", "blockage", "supply", "setting", "use", "sensor", "planned work", "nothing found"}

// String returns the cause's name, "" for NoCause.
func (c Cause) String() string {
	if c < NumCauses {
		return causeNames[c]
	}
	return ""
}

// ParseCause returns the cause of a name, false if there is none of that name.
func ParseCause(name string) (Cause, bool) {
	for c := CauseLeak; c < NumCauses; c++ {
		if causeNames[c] == name {
			return c, true
		}
	}
	return NoCause, false
}

// MarshalText returns the cause's name.
func (c Cause) MarshalText() ([]byte, error) { return []byte(c.String()), nil }

// UnmarshalText sets the cause of a name, NoCause for "".
func (c *Cause) UnmarshalText(name []byte) error {
	cause, ok := ParseCause(string(name))
	if !ok && len(name) > 0 {
		return fmt.Errorf("cannot read the cause %.40q: no cause has this name", name)
	}
	*c = cause
	return nil
}

// With returns the cause in front of what was done about it, as people read it.
func (c Cause) With(remedy string) string {
	if c == NoCause {
		return remedy
	}
	return c.String() + ": " + remedy
}
