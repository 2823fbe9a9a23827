package access

import "time"

// How long a sign-in link and a session last, and how many links an address is
// sent in an hour. Ours, no source; elapsed times, no dates.
const (
	SignInLasts   = 15 * time.Minute
	SignInsAnHour = 5
	SessionIdle   = 14 * 24 * time.Hour // elapsed: since it was last used
	SessionLasts  = 30 * 24 * time.Hour // elapsed: since it was begun
	SessionTouch  = time.Hour           // its use is noted no more often
	SignInsKept   = 24 * time.Hour      // elapsed: asked links are forgotten after it
	SignInPath    = "/sign-in/"         // below the public address; the token follows
)

// Role is what somebody who signed in may do.
type Role string

// The roles.
const (
	RoleOwner  Role = "owner"  // all
	RoleOffice Role = "office" // the book and the week, but neither settings nor links
)

// SignIn is one single-use link by which a person signs in, as the database
// keeps it: without its secret.
type SignIn struct {
	Firm    string // uid
	Person  string // mail address in lower case
	Hash    string // of the token
	Known   bool   // the person may sign in; of others the asking is only counted
	Created time.Time
	Expires time.Time
}

// NewSignIn makes a sign-in link for a person. The token is random text of at
// least 128 bits as crypto/rand.Text gives it; it is kept nowhere.
func NewSignIn(token, firm, person string, known bool, now time.Time) SignIn {
	return SignIn{Firm: firm, Person: person, Hash: HashOf(token), Known: known, Created: now, Expires: now.Add(SignInLasts)}
}

// IsSignInToken reports whether a text could be the token of a sign-in link: 26
// of the letters and digits of base32.
func IsSignInToken(s string) bool {
	if len(s) != 26 {
		return false
	}
	for _, r := range s {
		if (r < 'A' || r > 'Z') && (r < '2' || r > '7') {
			return false
		}
	}
	return true
}

// Deed is one change that somebody made by the pages, as the record keeps it.
type Deed struct {
	ID      string
	Firm    string // uid
	At      time.Time
	Who     string // mail address of who was signed in
	Did     string // what, in a few words: "hold", "approve new dates"
	About   string // a job, a crew, a setting; "" where it is about none
	Detail  string // the reason given, the new value
	Outcome string // DeedBegun, DeedDone, or why it failed
}

// What a deed came to, where it is no failure.
const (
	DeedBegun = "begun"
	DeedDone  = "done"
)
