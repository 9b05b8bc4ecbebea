package e2e_test

import (
	"context"
	"errors"
	"fmt"
	"io"
	"testing"

	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/metadata"
	reflectionv1 "google.golang.org/grpc/reflection/grpc_reflection_v1"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protodesc"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"
	"google.golang.org/protobuf/types/descriptorpb"
	"google.golang.org/protobuf/types/dynamicpb"

	"github.com/longlead/longlead/testdata/scenario"
)

// stranger is a client that has no generated code: it asks the server for its services and builds messages from that.
type stranger struct {
	conn *grpc.ClientConn
	asks reflectionv1.ServerReflection_ServerReflectionInfoClient
	// files are what the server told, and nothing that is linked into this test.
	files *protoregistry.Files
}

func meet(t *testing.T, address string) *stranger {
	t.Helper()
	conn, err := grpc.NewClient(address, grpc.WithTransportCredentials(insecure.NewCredentials()))
	require.NoError(t, err)
	t.Cleanup(func() { _ = conn.Close() })
	asks, err := reflectionv1.NewServerReflectionClient(conn).ServerReflectionInfo(t.Context())
	require.NoError(t, err)
	return &stranger{conn: conn, asks: asks, files: &protoregistry.Files{}}
}

func (s *stranger) ask(t *testing.T, req *reflectionv1.ServerReflectionRequest) *reflectionv1.ServerReflectionResponse {
	t.Helper()
	require.NoError(t, s.asks.Send(req))
	reply, err := s.asks.Recv()
	require.NoError(t, err)
	require.Nil(t, reply.GetErrorResponse(), "%v", reply.GetErrorResponse())
	return reply
}

func (s *stranger) services(t *testing.T) []string {
	t.Helper()
	var names []string
	for _, service := range s.ask(t, &reflectionv1.ServerReflectionRequest{MessageRequest: &reflectionv1.ServerReflectionRequest_ListServices{}}).GetListServicesResponse().GetService() {
		names = append(names, service.GetName())
	}
	return names
}

// learn reads the descriptor of a service with all that it needs.
func (s *stranger) learn(t *testing.T, service string) protoreflect.ServiceDescriptor {
	t.Helper()
	all := map[string]*descriptorpb.FileDescriptorProto{}
	reply := s.ask(t, &reflectionv1.ServerReflectionRequest{MessageRequest: &reflectionv1.ServerReflectionRequest_FileContainingSymbol{FileContainingSymbol: service}})
	s.keep(t, all, reply.GetFileDescriptorResponse().GetFileDescriptorProto())
	set := &descriptorpb.FileDescriptorSet{}
	for _, file := range all {
		set.File = append(set.File, file)
	}
	var err error
	s.files, err = protodesc.NewFiles(set)
	require.NoError(t, err)
	found, err := s.files.FindDescriptorByName(protoreflect.FullName(service))
	require.NoError(t, err)
	return found.(protoreflect.ServiceDescriptor)
}

func (s *stranger) keep(t *testing.T, all map[string]*descriptorpb.FileDescriptorProto, raw [][]byte) {
	t.Helper()
	for _, text := range raw {
		file := &descriptorpb.FileDescriptorProto{}
		require.NoError(t, proto.Unmarshal(text, file))
		all[file.GetName()] = file
	}
	for _, text := range raw {
		file := &descriptorpb.FileDescriptorProto{}
		require.NoError(t, proto.Unmarshal(text, file))
		for _, name := range file.GetDependency() {
			if all[name] == nil {
				reply := s.ask(t, &reflectionv1.ServerReflectionRequest{MessageRequest: &reflectionv1.ServerReflectionRequest_FileByFilename{FileByFilename: name}})
				s.keep(t, all, reply.GetFileDescriptorResponse().GetFileDescriptorProto())
			}
		}
	}
}

// call sends a request that is written in JSON and returns all replies of the method.
func (s *stranger) call(ctx context.Context, service protoreflect.ServiceDescriptor, name, request string) ([]*dynamicpb.Message, error) {
	method := service.Methods().ByName(protoreflect.Name(name))
	if method == nil {
		return nil, fmt.Errorf("%s has no method %s", service.FullName(), name)
	}
	in := dynamicpb.NewMessage(method.Input())
	if err := protojson.Unmarshal([]byte(request), in); err != nil {
		return nil, err
	}
	ctx, cancel := context.WithCancel(metadata.AppendToOutgoingContext(ctx, "authorization", "Bearer "+secret))
	defer cancel()
	stream, err := s.conn.NewStream(ctx, &grpc.StreamDesc{ServerStreams: method.IsStreamingServer()}, fmt.Sprintf("/%s/%s", service.FullName(), name))
	if err != nil {
		return nil, err
	}
	if err := stream.SendMsg(in); err != nil {
		return nil, err
	}
	if err := stream.CloseSend(); err != nil {
		return nil, err
	}
	var replies []*dynamicpb.Message
	for {
		out := dynamicpb.NewMessage(method.Output())
		if err := stream.RecvMsg(out); errors.Is(err, io.EOF) {
			return replies, nil
		} else if err != nil {
			return replies, err
		}
		if replies = append(replies, out); !method.IsStreamingServer() {
			return replies, nil
		}
	}
}

// at follows field names into a message.
func at(m *dynamicpb.Message, path ...string) protoreflect.Value {
	var current protoreflect.Message = m
	for _, name := range path[:len(path)-1] {
		current = current.Get(current.Descriptor().Fields().ByName(protoreflect.Name(name))).Message()
	}
	return current.Get(current.Descriptor().Fields().ByName(protoreflect.Name(path[len(path)-1])))
}

// state is the name of a plan's state.
func state(m *dynamicpb.Message) string {
	values := m.Descriptor().Fields().ByName("plan").Message().Fields().ByName("state").Enum().Values()
	return string(values.ByNumber(at(m, "plan", "state").Enum()).Name())
}

func TestAStrangerPlansAMonthOverGRPC(t *testing.T) {
	t.Parallel()
	client := meet(t, newSchool(t).grpc)
	require.Subset(t, client.services(t), []string{"longlead.planner.v1.PlannerService", "longlead.exchange.v1.ExchangeService", "grpc.health.v1.Health"})
	planner := client.learn(t, "longlead.planner.v1.PlannerService")

	one := func(method, request string) *dynamicpb.Message {
		replies, err := client.call(t.Context(), planner, method, request)
		require.NoError(t, err, method)
		require.Len(t, replies, 1, method)
		return replies[0]
	}
	started := one("DraftPlan", fmt.Sprintf(`{"month": %q, "seconds": 120, "iterations": 300}`, scenario.Month))
	require.Equal(t, "PLAN_STATE_DRAFTING", state(started))
	named := fmt.Sprintf(`{"plan_id": %q}`, at(started, "plan", "id").String())

	reports, err := client.call(t.Context(), planner, "WatchDraft", named)
	require.NoError(t, err)
	require.NotEmpty(t, reports)
	for i := 1; i < len(reports); i++ {
		require.GreaterOrEqual(t, at(reports[i], "plan", "value").Int(), at(reports[i-1], "plan", "value").Int(), "value never falls")
	}
	require.Equal(t, "PLAN_STATE_DRAFT", state(reports[len(reports)-1]))

	plan := one("ReadPlan", named)
	placed, waits := at(plan, "placements").List().Len(), at(plan, "waits").List().Len()
	require.Positive(t, placed)
	require.EqualValues(t, placed, at(plan, "plan", "placed").Int())
	require.EqualValues(t, placed+waits, at(plan, "plan", "requests").Int())
	require.LessOrEqual(t, at(plan, "plan", "value").Int(), at(plan, "plan", "bound").Int())

	published := one("PublishPlan", named)
	require.Equal(t, "PLAN_STATE_PUBLISHED", state(published))
	kept := at(published, "new_stays").Int() + at(published, "kept_stays").Int() + at(published, "moved_stays").Int()
	require.EqualValues(t, placed, kept, "every placement is a promise")

	_, err = client.call(t.Context(), planner, "PublishPlan", named)
	require.Equal(t, codes.FailedPrecondition, status.Code(err), "a plan is published once: %v", err)
}
