// Package export turns a composed draft note into what leaves the program: the
// JSON form for other programs, and the note for a person at a terminal. It
// also reads the transcript back out of its own JSON, so that a recording that
// was once heard can be drafted again without hearing it again. It changes
// nothing that it prints.
package export
