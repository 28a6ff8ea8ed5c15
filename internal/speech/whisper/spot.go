package whisper

// Spot is a place in a piece at which several readings are to be compared.
type Spot struct {
	// Before and After are what was heard around it.
	Before, After string
	// Readings are the rivals, each with its leading space.
	Readings []string
}
