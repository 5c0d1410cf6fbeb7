module spanyard.example/services/layout

go 1.26

require (
	spanyard.example/proto v0.0.0
	spanyard.example/services/kit v0.0.0

)

replace (
	spanyard.example/proto => ../../proto
	spanyard.example/services/kit => ../kit
)
