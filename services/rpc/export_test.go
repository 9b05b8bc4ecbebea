package rpc

// What the tests of this package need to see from outside.
var (
	RoleSets = roles

	NewGateway = newGateway
)
