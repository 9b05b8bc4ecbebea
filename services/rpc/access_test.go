package rpc_test

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	healthv1 "google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/metadata"
	reflectionv1 "google.golang.org/grpc/reflection/grpc_reflection_v1"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"
	"google.golang.org/protobuf/types/known/emptypb"

	"github.com/longlead/longlead/services/rpc"

	accessv1 "github.com/longlead/longlead/proto/longlead/access/v1"
	plannerv1 "github.com/longlead/longlead/proto/longlead/planner/v1"
)

// methods are all methods of our services, as full names.
func methods(t *testing.T) []string {
	t.Helper()
	var names []string
	protoregistry.GlobalFiles.RangeFiles(func(file protoreflect.FileDescriptor) bool {
		if !strings.HasPrefix(file.Path(), "longlead/") {
			return true
		}
		for s := range file.Services().Len() {
			service := file.Services().Get(s)
			for m := range service.Methods().Len() {
				names = append(names, fmt.Sprintf("/%s/%s", service.FullName(), service.Methods().Get(m).Name()))
			}
		}
		return true
	})
	slices.Sort(names)
	require.Greater(t, len(names), 25, "the methods of nine services")
	return names
}

// allowed says what each role may call besides reading, written out by hand: a role that gains or loses a method must
// change here too. Everybody may read.
var allowed = map[string][]string{
	"manager":   {"record", "draft", "publish", "policy", "log", "days", "feeds", "mend", "mail", "handover", "people"},
	"site-lead": {"record", "draft", "log", "days", "feeds", "mend", "mail", "handover"},
	"office":    {"record", "mail", "handover"},
	"trainer":   {"log"},
	"viewer":    {},
}

// changes sorts each method that changes something; all others read.
var changes = map[string]string{
	"CloseRuns": "record", "ReopenRun": "record", "SetPlaces": "record", "RecordAbsence": "record", "RemoveAbsence": "record",
	"LendTrainer": "record", "WithdrawRequest": "record", "OverrideWorkload": "record", "Import": "record", "MendFile": "record",
	"DraftPlan": "draft", "CancelDraft": "draft", "FinishDraft": "draft", "PinPlacement": "draft", "Unpin": "draft", "PublishPlan": "publish", "SetPolicy": "policy", "SetPace": "policy",
	"StartMoveStudy": "draft", "CancelMoveStudy": "draft",
	"LogSession": "log", "LogSessions": "log", "CorrectSession": "log",
	"PlanDay": "days", "CoverAbsence": "days", "ReportAbsence": "days", "CloseArea": "days", "EnterForecast": "days", "SetEvening": "days",
	"ExtendStay": "mend", "IsolateDog": "mend", "EndIsolation": "mend",
	"ListLetters": "mail", "ReadLetter": "mail", "ResendLetter": "mail", "RecordBounce": "mail", "ListLetterKinds": "mail", "ReadLetterTemplate": "mail",
	"SetLetterTemplate": "mail", "PreviewLetter": "mail", "TryLetter": "mail", "ReadLetterhead": "mail", "SetLetterhead": "mail",
	"OfferHandover": "handover", "ConfirmHandover": "handover", "MoveHandover": "handover", "CancelHandover": "handover", "ReportLate": "handover",
	"ReportMissed": "handover", "ReportHeld": "handover", "BookLesson": "handover", "MakeLink": "handover", "ShutLinks": "handover",
	"ArrangeHandovers": "handover", "SetReminder": "handover",
	"ListPeople": "people", "AddPerson": "people", "ChangePerson": "people", "SetPassword": "people", "DisablePerson": "people", "EnablePerson": "people",
	"MakeFeed": "feeds", "RevokeFeed": "feeds", "ListFeeds": "feeds",
}

// readers are the methods that change nothing; a new method belongs here or in changes.
var readers = []string{"ListSites", "ListRuns", "ListPlaces", "ListTrainers", "ListTrainerDays", "CheckWorkRules", "ListRequests",
	"ReadRequest", "ListKinds", "ReadTemplate", "Export", "WatchDraft", "ReadPlan", "ListPlans", "ComparePlans", "ExplainRequest",
	"ReadPolicy", "ListStays", "WatchMoveStudy", "ListMoveStudies", "ReadWorth", "PreviewExtension", "PreviewIsolation", "ListIsolations", "ReadStayHistory",
	"ListSkills", "ReadSession", "ListSessions", "GetDay", "GetDaySheet", "PrintDaySheet", "GetReadiness", "ListReadiness", "MeasurePace", "ListEvenings",
	"FindRequests", "ReadDog", "ListRecords", "ReadRecord", "FindCodes", "ReadStandings",
	"GetTrainerDay", "ListTrainerSessions",
	"ListHandovers", "ReadHandover", "ListReminders", "ReadPlanHead", "ListPlanned", "ReadLoad", "PreviewPlacement", "ListPins"}

func TestEachRoleOnEachMethod(t *testing.T) {
	t.Parallel()
	p := &planner{watch: func(grpc.ServerStreamingServer[plannerv1.WatchDraftResponse]) error { return nil }}
	e := newEdge(t, p)
	for _, role := range append(slices.Clone(roleNames), "") {
		conn := e.dial(t, role)
		for _, method := range methods(t) {
			name := method[strings.LastIndexByte(method, '/')+1:]
			change, isChange := changes[name]
			require.NotEqual(t, isChange, slices.Contains(readers, name), "%s must be sorted, once", name)
			require.NotEqual(t, accessv1.Permission_PERMISSION_UNSPECIFIED, rpc.PermissionOf(method), method)

			code := status.Code(call(t, conn, method))
			switch {
			case role == "":
				require.Equal(t, codes.Unauthenticated, code, "nobody: %s", method)
			case !isChange || slices.Contains(allowed[role], change):
				// The call gets through to the request's rules or to the service behind.
				require.Contains(t, []codes.Code{codes.OK, codes.Unimplemented, codes.InvalidArgument}, code, "%s: %s", role, method)
			default:
				require.Equal(t, codes.PermissionDenied, code, "%s: %s", role, method)
			}
		}
	}
}

// call sends an empty message to a method, streaming or not.
func call(t *testing.T, conn *grpc.ClientConn, method string) error {
	t.Helper()
	stream, err := conn.NewStream(t.Context(), &grpc.StreamDesc{ServerStreams: true}, method)
	require.NoError(t, err)
	if err := stream.SendMsg(&emptypb.Empty{}); err == nil {
		require.NoError(t, stream.CloseSend())
	}
	if err = stream.RecvMsg(&emptypb.Empty{}); err != nil && err.Error() == "EOF" {
		return nil
	}
	return err
}

func TestRolesExist(t *testing.T) {
	t.Parallel()
	for role := range rpc.RoleSets {
		require.Contains(t, roleNames, role, "test the new role as well")
	}
	require.Len(t, rpc.RoleSets, len(roleNames))
}

func TestAMethodWithoutPermissionIsClosedToAll(t *testing.T) {
	t.Parallel()
	// A service of somebody else's, registered among ours: its methods state no permission.
	tokens := &rpc.Tokens{}
	require.NoError(t, tokens.Add("manager", "manager", "secret"))
	called := false
	desc := &grpc.ServiceDesc{ServiceName: "made.up.Service", HandlerType: (*any)(nil), Methods: []grpc.MethodDesc{{MethodName: "Open",
		Handler: unaryHandler(&called)}}}
	server, err := rpc.NewServer(quiet(), tokens, rpc.Register{GRPC: func(r grpc.ServiceRegistrar) { r.RegisterService(desc, struct{}{}) }, HTTP: noHTTP})
	require.NoError(t, err)
	t.Cleanup(func() { server.Stop(0) })
	conn, err := server.Dial(grpc.WithPerRPCCredentials(rpc.TokenCredentials("secret")))
	require.NoError(t, err)
	t.Cleanup(func() { _ = conn.Close() })
	err = conn.Invoke(t.Context(), "/made.up.Service/Open", &emptypb.Empty{}, &emptypb.Empty{})
	require.Equal(t, codes.PermissionDenied, status.Code(err))
	require.Equal(t, "METHOD_CLOSED", infoOf(t, err).GetReason())
	require.False(t, called)
}

func TestPermissionOf(t *testing.T) {
	t.Parallel()
	require.Equal(t, accessv1.Permission_PERMISSION_PUBLISH_PLANS, rpc.PermissionOf("/longlead.planner.v1.PlannerService/PublishPlan"))
	for _, none := range []string{"", "/", "/nothing/Here", "longlead.planner.v1.Plan", "/longlead.planner.v1.Plan/id",
		"/longlead.planner.v1.PlannerService", "/grpc.health.v1.Health/Check", "/longlead.planner.v1.PlannerService/PublishPlan/more"} {
		require.Equal(t, accessv1.Permission_PERMISSION_UNSPECIFIED, rpc.PermissionOf(none), none)
	}
}

func TestHealthAndReflectionAreOpen(t *testing.T) {
	t.Parallel()
	conn := newEdge(t, &planner{}).dial(t, "")
	for _, service := range []string{"", "longlead.planner.v1.PlannerService"} {
		reply, err := healthv1.NewHealthClient(conn).Check(t.Context(), &healthv1.HealthCheckRequest{Service: service})
		require.NoError(t, err)
		require.Equal(t, healthv1.HealthCheckResponse_SERVING, reply.GetStatus())
	}
	stream, err := reflectionv1.NewServerReflectionClient(conn).ServerReflectionInfo(t.Context())
	require.NoError(t, err)
	require.NoError(t, stream.Send(&reflectionv1.ServerReflectionRequest{MessageRequest: &reflectionv1.ServerReflectionRequest_ListServices{}}))
	reply, err := stream.Recv()
	require.NoError(t, err)
	var names []string
	for _, s := range reply.GetListServicesResponse().GetService() {
		names = append(names, s.GetName())
	}
	require.Subset(t, names, []string{"longlead.planner.v1.PlannerService", "longlead.exchange.v1.ExchangeService"})
}

func TestWhichHeaderIsAToken(t *testing.T) {
	t.Parallel()
	client := plannerv1.NewPlannerServiceClient(newEdge(t, &planner{}).dial(t, ""))
	for _, tc := range []struct {
		name    string
		headers []string
		reason  string
	}{
		{"none", nil, "TOKEN_MISSING"},
		{"empty", []string{""}, "TOKEN_MISSING"},
		{"scheme alone", []string{"Bearer"}, "TOKEN_UNKNOWN"},
		{"empty token", []string{"Bearer "}, "TOKEN_UNKNOWN"},
		{"other scheme", []string{"Basic " + token("manager")}, "TOKEN_MISSING"},
		{"no scheme", []string{token("manager")}, "TOKEN_MISSING"},
		{"unknown", []string{"Bearer nobody's"}, "TOKEN_UNKNOWN"},
		{"a part of one", []string{"Bearer " + token("manager")[:10]}, "TOKEN_UNKNOWN"},
		{"the first bearer counts", []string{"Bearer nobody's", "Bearer " + token("manager")}, "TOKEN_UNKNOWN"},
		{"good", []string{"Bearer " + token("manager")}, ""},
		{"scheme in any case", []string{"bearer " + token("manager")}, ""},
		{"beside another scheme", []string{"Basic x", "Bearer " + token("manager")}, ""},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			ctx := metadata.NewOutgoingContext(t.Context(), metadata.MD{"authorization": tc.headers})
			_, err := client.ListPlans(ctx, &plannerv1.ListPlansRequest{})
			if tc.reason == "" {
				require.NoError(t, err)
				return
			}
			require.Equal(t, codes.Unauthenticated, status.Code(err))
			require.Equal(t, tc.reason, infoOf(t, err).GetReason())
		})
	}
}

func TestUnknownCallersAreRefusedBeforeTheirMessageIsRead(t *testing.T) {
	t.Parallel()
	conn := newEdge(t, &planner{}).dial(t, "")
	ctx, cancel := context.WithTimeout(t.Context(), 5*time.Second)
	defer cancel()
	stream, err := conn.NewStream(ctx, &grpc.StreamDesc{ServerStreams: true}, "/longlead.planner.v1.PlannerService/ListPlans")
	require.NoError(t, err)
	// Nothing was sent: a server that reads first would wait for it.
	err = stream.RecvMsg(&emptypb.Empty{})
	require.Equal(t, codes.Unauthenticated, status.Code(err))
	require.Equal(t, "TOKEN_MISSING", infoOf(t, err).GetReason())
}
