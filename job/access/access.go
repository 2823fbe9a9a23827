// Package access holds the secret links by which crews, customers and the owner
// reach what is theirs without a password. It is pure and imports nothing of
// ours.
package access

import (
	"crypto/hmac"
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"strconv"
	"strings"
	"time"
)

// Audience is whom a link is for.
type Audience string

// The audiences.
const (
	Customer Audience = "customer" // by mail address
	Crew     Audience = "crew"     // by crew id
	Owner    Audience = "owner"    // the firm itself
)

// Purpose is what a link opens.
type Purpose string

// The purposes.
const (
	Page    Purpose = "page"
	Feed    Purpose = "feed"
	Approve Purpose = "approve" // the owner's yes to new dates
	Stop    Purpose = "stop"    // no more of a mail that may be stopped
)

// Link is one secret link as the database keeps it: everything but the secret.
// The token can be made again from the link key; the row holds only its hash.
type Link struct {
	Firm       string // uid
	Audience   Audience
	ID         string // of the crew or customer; "" for the owner
	Purpose    Purpose
	Generation int    // raised to revoke
	Hash       string // of the token of this generation
	Created    time.Time
}

// KeyBytes is the length of a link key.
const KeyBytes = 32

// Token gives the secret of a link: 43 letters, digits, dashes and underscores
// that carry 256 bits of an HMAC-SHA256 over all that makes the link itself.
func Token(key []byte, l Link) string {
	mac := hmac.New(sha256.New, key)
	for _, p := range []string{l.Firm, string(l.Audience), l.ID, string(l.Purpose), strconv.Itoa(l.Generation)} {
		// lengths in front, so that no two links can be written alike
		mac.Write([]byte(strconv.Itoa(len(p)) + ":" + p + "|"))
	}
	return base64.RawURLEncoding.EncodeToString(mac.Sum(nil))
}

// HashOf gives what is kept of a token, and looked up by.
func HashOf(token string) string {
	sum := sha256.Sum256([]byte(token))
	return hex.EncodeToString(sum[:])
}

// New makes a link of the given generation.
func New(key []byte, firm string, a Audience, id string, p Purpose, generation int, now time.Time) Link {
	if a == Customer {
		id = strings.ToLower(id)
	}
	l := Link{Firm: firm, Audience: a, ID: id, Purpose: p, Generation: generation, Created: now}
	l.Hash = HashOf(Token(key, l))
	return l
}

// Path gives the path of a link below the public address.
func Path(key []byte, l Link) string {
	t := Token(key, l)
	switch l.Purpose {
	case Feed:
		return "/f/" + t + ".ics"
	case Approve:
		return "/y/" + t
	case Stop:
		return "/n/" + t
	}
	return "/p/" + t
}

// FromPath gives the token in a link's path or whole address, "" where there is
// none.
func FromPath(s string) string {
	i := strings.LastIndexByte(s, '/')
	t := strings.TrimSuffix(s[i+1:], ".ics")
	if len(t) != base64.RawURLEncoding.EncodedLen(sha256.Size) {
		return ""
	}
	return t
}
