module spanyard.example/services/stock

go 1.26.0

require (
	github.com/benbjohnson/immutable v0.4.3
	github.com/google/go-cmp v0.7.0
	pgregory.net/rapid v1.3.0
	spanyard.example/services/kit v0.0.0
)

require golang.org/x/exp v0.0.0-20260820142414-ca536658362e // indirect

replace (
	spanyard.example/proto => ../../proto
	spanyard.example/services/kit => ../kit
)
