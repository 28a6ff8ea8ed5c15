package review

import (
	"errors"
	"slices"
)

// Role is what a person may do with a note. It is given when a user is added.
type Role uint8

// Roles.
const (
	RoleUnknown Role = iota
	// Examiner is a licensed nurse: charts, decides, signs alone.
	Examiner
	// Student charts and decides; what she signs waits for a preceptor.
	Student
	// Preceptor is a licensed nurse who also co-signs what students signed.
	Preceptor
	// Reviewer reads and comments, and never becomes an author.
	Reviewer
)

var roleNames = [...]string{"unknown", "examiner", "student", "preceptor", "reviewer"}

// String gives the role's word.
func (r Role) String() string { return nameOf(roleNames[:], int(r)) }

// RoleWords lists the words of all roles.
func RoleWords() []string { return slices.Clone(roleNames[1:]) }

// ParseRole reads what String wrote; RoleUnknown where it is no role.
func ParseRole(s string) Role { return Role(indexOf(roleNames[:], s)) }

// MarshalText gives the stored form: the word.
func (r Role) MarshalText() ([]byte, error) { return []byte(r.String()), nil }

// UnmarshalText refuses a word that is no role.
func (r *Role) UnmarshalText(b []byte) error {
	if *r = ParseRole(string(b)); *r == RoleUnknown {
		return errors.New("read role: no such role")
	}
	return nil
}

// Licensed says whether the role signs on her own licence.
func (r Role) Licensed() bool { return r == Examiner || r == Preceptor }

// Person is who decided or signed, as she was named at that moment: a later
// change of name or credentials does not reach back.
type Person struct {
	// ID is the stable id of the user.
	ID string `json:"id"`
	// Name is the full name as it stands below a note.
	Name string `json:"name"`
	// Credentials are the letters behind the name, such as "RN, BSN".
	Credentials string `json:"credentials"`
	Role        Role   `json:"role"`
}

func nameOf(names []string, i int) string {
	if i < 0 || i >= len(names) {
		i = 0
	}
	return names[i]
}

// indexOf gives 0, the unknown, for what is not in the list.
func indexOf(names []string, s string) int {
	for i, n := range names {
		if n == s {
			return i
		}
	}
	return 0
}
