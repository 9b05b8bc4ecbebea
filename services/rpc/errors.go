package rpc

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/protoadapt"

	"github.com/longlead/longlead/services/apperr"
)

// errorDomain stands in the ErrorInfo of every status that we make.
const errorDomain = "longlead"

// internalText is all that a caller learns of a fault of ours.
const internalText = "Something went wrong on our side; the log has the details."

// mostFields is how many bad fields a status names: it travels in headers, which have a limit.
const mostFields = 20

var kindCodes = map[apperr.Kind]codes.Code{
	apperr.Invalid:         codes.InvalidArgument,
	apperr.NotFound:        codes.NotFound,
	apperr.Conflict:        codes.AlreadyExists,
	apperr.Precondition:    codes.FailedPrecondition,
	apperr.Unavailable:     codes.Unavailable,
	apperr.Denied:          codes.PermissionDenied,
	apperr.Unauthenticated: codes.Unauthenticated,
}

// toStatus turns any error into a status. An *apperr.Error keeps its words, its reason and its fields. A status passes,
// without what it was wrapped in. Everything else is Internal with a fixed text: what it says is for the log only.
func toStatus(err error) error {
	if err == nil {
		return nil
	}
	if known, ok := apperr.From(err); ok {
		if code, ok := kindCodes[known.Kind]; ok {
			return knownStatus(code, known)
		}
	}
	var made interface{ GRPCStatus() *status.Status }
	if errors.As(err, &made) && !isOurs(made.GRPCStatus().Code()) {
		return made.GRPCStatus().Err()
	}
	switch {
	case errors.Is(err, context.Canceled):
		return withDetails(codes.Canceled, "The caller gave up.", reason("CALL_CANCELLED"))
	case errors.Is(err, context.DeadlineExceeded):
		return withDetails(codes.DeadlineExceeded, "This took longer than the caller allowed.", reason("DEADLINE_EXCEEDED"))
	}
	return withDetails(codes.Internal, internalText, reason("INTERNAL"))
}

// ToStatus turns any error into what a caller of ours would see of it: a status with the words of an apperr.Error, or a fixed text.
func ToStatus(err error) error { return toStatus(err) }

// isOurs reports whether a code means a fault of ours, whose text stays in the log. An error with code OK is one too.
func isOurs(code codes.Code) bool {
	return code == codes.OK || code == codes.Unknown || code == codes.Internal || code == codes.DataLoss
}

func knownStatus(code codes.Code, known *apperr.Error) error {
	named := known.Fields[:min(len(known.Fields), mostFields)]
	message := known.Message
	bad := &errdetails.BadRequest{}
	for _, f := range named {
		message += " " + f.String() + "."
		bad.FieldViolations = append(bad.FieldViolations, &errdetails.BadRequest_FieldViolation{
			Field: valid(f.Path), Description: valid(f.String()), Reason: known.Reason})
	}
	if more := len(known.Fields) - len(named); more > 0 {
		message += fmt.Sprintf(" And %d more.", more)
	}
	details := []protoadapt.MessageV1{reason(known.Reason)}
	if len(named) > 0 {
		details = append(details, bad)
	}
	return withDetails(code, message, details...)
}

func reason(word string) *errdetails.ErrorInfo {
	return &errdetails.ErrorInfo{Reason: word, Domain: errorDomain}
}

// valid repairs text that was read from a file in some other encoding: protobuf refuses what is not UTF-8.
func valid(text string) string { return strings.ToValidUTF8(text, "\uFFFD") }

func withDetails(code codes.Code, message string, details ...protoadapt.MessageV1) error {
	s := status.New(code, valid(message))
	if detailed, err := s.WithDetails(details...); err == nil {
		s = detailed
	}
	return s.Err()
}

// reasonOf returns the machine word in a status, or "".
func reasonOf(err error) string {
	for _, d := range status.Convert(err).Details() {
		if info, ok := d.(*errdetails.ErrorInfo); ok {
			return info.GetReason()
		}
	}
	return ""
}
