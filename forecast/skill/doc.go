// Package skill keeps how wrong forecasts have been and makes their chances
// honest: error statistics by lead, members dressed with them, chances
// recalibrated from their own record, and the scores that tell whether it
// worked. It is pure.
package skill
