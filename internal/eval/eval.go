// Package eval measures how well examinations are understood: against cases
// whose findings are known, and against outside data. It stands beside the
// stages, not among them: nothing that drafts a note imports it.
package eval
