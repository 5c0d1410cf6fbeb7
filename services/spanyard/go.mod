module spanyard.example/services/spanyard

go 1.26

require (
	spanyard.example/proto v0.0.0
	spanyard.example/services/kit v0.0.0
	spanyard.example/services/layout v0.0.0
	spanyard.example/services/stock v0.0.0
	spanyard.example/services/dispatch v0.0.0
)

replace (
	spanyard.example/proto => ../../proto
	spanyard.example/services/kit => ../kit
	spanyard.example/services/layout => ../layout
	spanyard.example/services/stock => ../stock
	spanyard.example/services/dispatch => ../dispatch
)
