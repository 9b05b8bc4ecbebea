package rpc

// What the tests of this package need to see from outside.
var (
	ToStatus = toStatus
	RoleSets = roles

	NewGateway = newGateway
)
