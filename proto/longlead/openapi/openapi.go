// Package openapi holds the OpenAPI description of the HTTP/JSON side, generated from the .proto files.
package openapi

import _ "embed"

// JSON is the OpenAPI 2.0 document.
//
//go:embed longlead.swagger.json
var JSON []byte
