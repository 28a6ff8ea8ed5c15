package audio

// ErrorKind says why a recording could not be read.
type ErrorKind int

// The kinds of errors.
const (
	ErrUnknown     ErrorKind = iota
	ErrUnreadable            // the file cannot be opened or read
	ErrEmpty                 // the file holds no sound
	ErrNotSound              // the file is no sound file that is known here
	ErrFormat                // a sound file in a form that needs a converter
	ErrHeader                // the header makes no sense
	ErrSilent                // nothing but silence
	ErrTooShort              // shorter than MinSeconds
	ErrTooLong               // longer than MaxSeconds
	ErrConversion            // the converter failed
	ErrInterrupted           // the context ended
)

// Error is what every failure of this package is. It never holds anything that
// was said in the recording.
type Error struct {
	Kind ErrorKind
	// Problem is what is wrong, in a few words.
	Problem string
	// Hint tells the user what to do; it is never empty.
	Hint string
	// Err is the cause, where there is one beneath.
	Err error
}

// Error gives "read recording: problem: cause".
func (e *Error) Error() string {
	s := "read recording: " + e.Problem
	if e.Err != nil {
		s += ": " + e.Err.Error()
	}
	return s
}

// Unwrap gives the cause.
func (e *Error) Unwrap() error { return e.Err }

const (
	hintRecordAgain = "record again, or check that the file was copied whole and that this is the right file"
	hintMicrophone  = "check that the right microphone was chosen and not muted, then record again"
)

func fail(kind ErrorKind, problem, hint string, cause error) *Error {
	return &Error{Kind: kind, Problem: problem, Hint: hint, Err: cause}
}
