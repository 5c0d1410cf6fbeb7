module spanyard.example/services/stock

go 1.26.0

require (
	github.com/benbjohnson/immutable v0.4.3
	github.com/google/go-cmp v0.7.0
	pgregory.net/rapid v1.3.0
	spanyard.example/services/kit v0.0.0
)

require (
	golang.org/x/exp v0.0.0-20260820142414-ca536658362e // indirect
	golang.org/x/net v0.62.0 // indirect
	golang.org/x/sys v0.49.0 // indirect
	golang.org/x/text v0.43.0 // indirect
	google.golang.org/genproto/googleapis/rpc v0.0.0-20260819154853-08b0e4226688 // indirect
	google.golang.org/grpc v1.85.0 // indirect
	google.golang.org/protobuf v1.36.12 // indirect
)

replace (
	spanyard.example/proto => ../../proto
	spanyard.example/services/kit => ../kit
)
