package job

import (
	"fmt"
	"strconv"
	"strings"
)

// Money is an amount in whole cents (pence) of the firm's currency. Whole
// cents, so that plans add up to the penny.
type Money int64

// String gives "1250.00".
func (m Money) String() string {
	s := ""
	if m < 0 {
		s, m = "-", -m
	}
	return fmt.Sprintf("%s%d.%02d", s, m/100, m%100)
}

// Words gives an amount as an owner reads it, without cents: "8 844 CAD", its spaces
// such that no line breaks in it.
func (m Money) Words(currency string) string {
	sign := ""
	if m < 0 {
		sign, m = "-", -m
	}
	s := strconv.FormatInt((int64(m)+50)/100, 10)
	for i := len(s) - 3; i > 0; i -= 3 {
		s = s[:i] + "\u00a0" + s[i:]
	}
	return sign + s + "\u00a0" + currency
}

// MarshalJSON writes a number with at most two decimals.
func (m Money) MarshalJSON() ([]byte, error) {
	return []byte(strings.TrimSuffix(strings.TrimSuffix(m.String(), "0"), ".0")), nil
}

// UnmarshalJSON reads a number with at most two decimals.
func (m *Money) UnmarshalJSON(b []byte) error {
	v, err := ParseMoney(string(b))
	if err != nil {
		return err
	}
	*m = v
	return nil
}

// ParseMoney reads "1250", "1250.5" or "1250.50". The largest amount is a
// thousand million.
func ParseMoney(s string) (Money, error) {
	bad := fmt.Errorf("%q is not an amount; write a number with at most 2 decimals, such as 1250.50", s)
	body, neg := strings.CutPrefix(s, "-")
	whole, part, _ := strings.Cut(body, ".")
	if len(part) > 2 || whole == "" || len(whole) > 10 {
		return 0, bad
	}
	for len(part) < 2 {
		part += "0"
	}
	n, err := strconv.ParseUint(whole+part, 10, 63)
	if err != nil || n > 100_000_000_000 {
		return 0, bad
	}
	if neg {
		return -Money(n), nil
	}
	return Money(n), nil
}
