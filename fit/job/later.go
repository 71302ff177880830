package job

// later is what a bar must keep until it has a sketch in the car's axes.
type later struct {
	hug bool                // hug was given
	at  map[string]Position // of the values of its keys, and "end A" and "end B"
}
