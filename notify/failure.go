package notify

// FailureClass says what a failed delivery means.
type FailureClass string

// The classes of failure.
const (
	Retry     FailureClass = "retry"     // nothing was handed over: try again later
	Permanent FailureClass = "permanent" // it will never be taken
	Doubt     FailureClass = "doubt"     // it was handed over, and no answer came
)

// Failure is how a transport says that a delivery failed.
type Failure struct {
	Class  FailureClass
	Code   int    // the server's reply code, 0 where there was none
	Reason string // in plain words, without secrets
}

// Error gives the reason.
func (f *Failure) Error() string { return f.Reason }
