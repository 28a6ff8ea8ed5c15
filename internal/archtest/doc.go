// Package archtest holds the rules of the repository as tests: who may import
// whom, what no package may do, and what no file may say. It has no code of its
// own; a rule that is broken fails here with the reason for it.
package archtest
