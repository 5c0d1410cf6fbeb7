module spanyard.example/services/kit

go 1.26

require (
	spanyard.example/proto v0.0.0

)

replace (
	spanyard.example/proto => ../../proto
)
