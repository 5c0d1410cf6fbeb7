package yardfile

import (
	dispatcheventv1 "spanyard.example/proto/gen/spanyard/dispatch/event/v1"
	stockv1 "spanyard.example/proto/gen/spanyard/stock/v1"
)

// ReadYard reads the rules of a yard: a section for each service that keeps
// rules. Yard and request id of the stock request are left to the caller.
func ReadYard(file string, content []byte) (*stockv1.SetYardRulesRequest, *dispatcheventv1.YardRules, error) {
	stock, dispatch := &stockv1.SetYardRulesRequest{}, &dispatcheventv1.YardRules{}
	err := ReadSections(file, content, []Section{{"stock", stock}, {"dispatch", dispatch}}, "yard", "request_id")
	return stock, dispatch, err
}
