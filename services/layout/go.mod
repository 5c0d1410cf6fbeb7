module spanyard.example/services/layout

go 1.26.0

require (
	github.com/benbjohnson/immutable v0.4.3
	github.com/google/go-cmp v0.7.0
	github.com/xuri/excelize/v2 v2.11.1
	google.golang.org/protobuf v1.36.12
	pgregory.net/rapid v1.3.0
	spanyard.example/proto v0.0.0-00010101000000-000000000000
	spanyard.example/services/kit v0.0.0
)

require (
	github.com/richardlehane/mscfb v1.0.9 // indirect
	github.com/richardlehane/msoleps v1.0.6 // indirect
	github.com/tiendc/go-deepcopy v1.7.2 // indirect
	github.com/xuri/efp v0.0.3-0.20260924042702-217b81952dec // indirect
	github.com/xuri/nfp v0.0.2-0.20250530014748-2ddeb826f9a9 // indirect
	golang.org/x/crypto v0.58.0 // indirect
	golang.org/x/exp v0.0.0-20260820142414-ca536658362e // indirect
	golang.org/x/net v0.62.0 // indirect
	golang.org/x/text v0.43.0 // indirect
)

replace (
	spanyard.example/proto => ../../proto
	spanyard.example/services/kit => ../kit
)
