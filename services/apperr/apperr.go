// Package apperr holds the errors that are worth telling a user about: what kind of failure it is, a machine word for
// programs, a sentence for people, and the fields that have to change.
//
// An apperr.Error is made where the fact is known (a store that finds no row, a server that reads a bad field) and
// travels upward wrapped by fmt.Errorf("doing x: %w", err). Any other error is internal: it is logged, never shown.
package apperr

import (
	"errors"
	"fmt"
	"strings"
)

// Kind says what sort of failure an error is. A Kind is itself an error, so that
// errors.Is(err, apperr.NotFound) answers for a wrapped *Error.
type Kind uint8

// The kinds. Internal is the zero value and the kind of every error that is not an *Error.
const (
	// Internal is a fault of ours or of the machine: nothing the caller can mend.
	Internal Kind = iota
	// Invalid is a request that could not be right at any time: mend the fields and send it again.
	Invalid
	// NotFound is a named thing that does not exist.
	NotFound
	// Conflict is a request that clashes with what is there now, such as a night already taken.
	Conflict
	// Precondition is a request that would be right in another state of the system, such as publishing an old draft.
	Precondition
	// Unavailable is a failure that may pass by itself: try again later.
	Unavailable
	// Denied is a caller who is known and may not do this.
	Denied
	// Unauthenticated is a caller who is not known.
	Unauthenticated
)

var kindNames = [...]string{
	Internal: "internal", Invalid: "invalid", NotFound: "not found", Conflict: "conflict", Precondition: "precondition",
	Unavailable: "unavailable", Denied: "denied", Unauthenticated: "unauthenticated",
}

// String names the kind in lower case.
func (k Kind) String() string {
	if int(k) < len(kindNames) {
		return kindNames[k]
	}
	return fmt.Sprintf("kind %d", uint8(k))
}

// Error makes a Kind usable as the target of errors.Is.
func (k Kind) Error() string { return k.String() }

// Field names one part of a request that has to change.
type Field struct {
	// Path is the field as the caller knows it: "stay.arrival_day", or "row 12, weight_kg" for a file.
	Path string
	// Rule is what the value has to satisfy: "must be before the graduation day".
	Rule string
	// Remedy is what to do about it: "pick an earlier day or lengthen the stay". May be empty.
	Remedy string
}

// String writes the field as one clause.
func (f Field) String() string {
	s := f.Path + " " + f.Rule
	if f.Remedy != "" {
		s += " (" + f.Remedy + ")"
	}
	return s
}

// Error is a failure that a caller may be told about. Make one with the constructors below; the zero value is an
// internal error without text.
type Error struct {
	// Kind is the sort of failure.
	Kind Kind
	// Reason is a stable machine word in UPPER_SNAKE, such as RUN_TAKEN. Programs branch on it.
	Reason string
	// Message is one plain sentence for the user. It holds no SQL, path or stack.
	Message string
	// Fields are the parts of the request to mend; may be empty.
	Fields []Field

	cause error
}

// Error writes message, fields and cause on one line. Logs show it; users are shown Message and Fields.
func (e *Error) Error() string {
	var b strings.Builder
	b.WriteString(e.Message)
	if e.Message == "" {
		b.WriteString(e.Kind.String())
	}
	for i, f := range e.Fields {
		if i == 0 {
			b.WriteString(": ")
		} else {
			b.WriteString("; ")
		}
		b.WriteString(f.String())
	}
	if e.cause != nil {
		b.WriteString(": ")
		b.WriteString(e.cause.Error())
	}
	return b.String()
}

// Unwrap returns the cause given to Because, or nil.
func (e *Error) Unwrap() error { return e.cause }

// Is reports whether target is this error's Kind.
func (e *Error) Is(target error) bool {
	k, ok := target.(Kind)
	return ok && k == e.Kind
}

// With returns a copy of the error with more fields.
func (e *Error) With(fields ...Field) *Error {
	c := *e
	c.Fields = append(append([]Field(nil), e.Fields...), fields...)
	return &c
}

// Because returns a copy of the error that keeps cause for the log. The user does not see it.
func (e *Error) Because(cause error) *Error {
	c := *e
	c.cause = cause
	return &c
}

// Invalidf makes an Invalid error. Like all constructors here it takes the machine word first.
func Invalidf(reason, format string, args ...any) *Error {
	return &Error{Kind: Invalid, Reason: reason, Message: fmt.Sprintf(format, args...)}
}

// NotFoundf makes a NotFound error.
func NotFoundf(reason, format string, args ...any) *Error {
	return &Error{Kind: NotFound, Reason: reason, Message: fmt.Sprintf(format, args...)}
}

// Conflictf makes a Conflict error.
func Conflictf(reason, format string, args ...any) *Error {
	return &Error{Kind: Conflict, Reason: reason, Message: fmt.Sprintf(format, args...)}
}

// Preconditionf makes a Precondition error.
func Preconditionf(reason, format string, args ...any) *Error {
	return &Error{Kind: Precondition, Reason: reason, Message: fmt.Sprintf(format, args...)}
}

// Unavailablef makes an Unavailable error.
func Unavailablef(reason, format string, args ...any) *Error {
	return &Error{Kind: Unavailable, Reason: reason, Message: fmt.Sprintf(format, args...)}
}

// Deniedf makes a Denied error.
func Deniedf(reason, format string, args ...any) *Error {
	return &Error{Kind: Denied, Reason: reason, Message: fmt.Sprintf(format, args...)}
}

// Unauthenticatedf makes an Unauthenticated error.
func Unauthenticatedf(reason, format string, args ...any) *Error {
	return &Error{Kind: Unauthenticated, Reason: reason, Message: fmt.Sprintf(format, args...)}
}

// InvalidField makes an Invalid error about one field. rule reads after the path: "must be after the arrival day".
func InvalidField(path, rule, remedy string) *Error {
	return Invalidf("INVALID_FIELD", "The request has a field that cannot be accepted.").
		With(Field{Path: path, Rule: rule, Remedy: remedy})
}

// From returns the outermost *Error in err's chain, or nil and false.
func From(err error) (*Error, bool) {
	var e *Error
	ok := errors.As(err, &e)
	return e, ok
}

// KindOf returns the kind of the outermost *Error in err's chain, and Internal for any other error. Ask it only about
// an error that is not nil: nil gives Internal as well.
func KindOf(err error) Kind {
	if e, ok := From(err); ok {
		return e.Kind
	}
	return Internal
}

// ReasonOf returns the machine word of the outermost *Error in err's chain, or "".
func ReasonOf(err error) string {
	if e, ok := From(err); ok {
		return e.Reason
	}
	return ""
}
