package ids

// Raw returns identifiers as plain bytes, which the database takes as uuid[] without turning each into a text: worth it for thousands.
func Raw[I ~[16]byte](list []I) [][16]byte {
	out := make([][16]byte, len(list))
	for i, id := range list {
		out[i] = [16]byte(id)
	}
	return out
}

// OfRaw is the way back; the caller says of which kind the identifiers are.
func OfRaw[I ~[16]byte](list [][16]byte) []I {
	out := make([]I, len(list))
	for i, raw := range list {
		out[i] = I(raw)
	}
	return out
}
