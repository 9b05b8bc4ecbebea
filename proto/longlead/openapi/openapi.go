// Package openapi holds the OpenAPI description of the HTTP/JSON side, generated from the .proto files.
package openapi

import (
	_ "embed"
	"encoding/json"
	"fmt"
	"maps"
	"regexp"
	"slices"
	"strings"
)

// parameter is one variable in a path.
var parameter = regexp.MustCompile(`\{[^}]*\}`)

//go:embed longlead.swagger.json
var generated []byte

// Document returns the OpenAPI 2.0 document in JSON. To what is generated it adds a title and how callers show their token.
func Document() ([]byte, error) {
	var document map[string]any
	if err := json.Unmarshal(generated, &document); err != nil {
		return nil, fmt.Errorf("read the generated OpenAPI document: %w", err)
	}
	document["info"] = map[string]any{
		"title":       "Longlead",
		"version":     "v1",
		"description": "Schedules and plans capacity for residential dog training. Streams come as one JSON object a line, or as server-sent events with `Accept: text/event-stream`; each object holds `result`, or `error` when the stream fails.",
	}
	document["securityDefinitions"] = map[string]any{
		"bearer": map[string]any{"type": "apiKey", "in": "header", "name": "Authorization", "description": "The word Bearer, a space and the token."},
	}
	document["security"] = []any{map[string]any{"bearer": []any{}}}
	if paths, ok := document["paths"].(map[string]any); ok {
		document["paths"] = joinPaths(paths)
	}
	text, err := json.MarshalIndent(document, "", "  ")
	if err != nil {
		return nil, fmt.Errorf("write the OpenAPI document: %w", err)
	}
	return text, nil
}

// joinPaths makes one path of those that differ in the names of their variables only, such as /places/{day} to set and
// /places/{month} to list: OpenAPI takes them for the same path, and allows it once. The variable gets both names.
func joinPaths(paths map[string]any) map[string]any {
	alike := map[string][]string{}
	for _, path := range slices.Sorted(maps.Keys(paths)) {
		shape := parameter.ReplaceAllString(path, "{}")
		alike[shape] = append(alike[shape], path)
	}
	joined := map[string]any{}
	for _, same := range alike {
		name := joinNames(same)
		operations := map[string]any{}
		for _, path := range same {
			methods, _ := paths[path].(map[string]any)
			for method, operation := range methods {
				operations[method] = renamed(operation, parameter.FindAllString(path, -1), parameter.FindAllString(name, -1))
			}
		}
		joined[name] = operations
	}
	return joined
}

// joinNames writes one path for several of one shape.
func joinNames(same []string) string {
	at := -1
	return parameter.ReplaceAllStringFunc(same[0], func(string) string {
		at++
		var names []string
		for _, path := range same {
			if name := strings.Trim(parameter.FindAllString(path, -1)[at], "{}"); !slices.Contains(names, name) {
				names = append(names, name)
			}
		}
		return "{" + strings.Join(names, "_or_") + "}"
	})
}

// renamed gives the path variables of one operation their new names.
func renamed(operation any, before, after []string) any {
	described, _ := operation.(map[string]any)
	parameters, _ := described["parameters"].([]any)
	for _, one := range parameters {
		p, _ := one.(map[string]any)
		name, _ := p["name"].(string)
		if i := slices.Index(before, "{"+name+"}"); i >= 0 && p["in"] == "path" {
			p["name"] = strings.Trim(after[i], "{}")
		}
	}
	return operation
}
