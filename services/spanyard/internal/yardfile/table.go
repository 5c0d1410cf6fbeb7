package yardfile

import (
	"path"
	"strings"

	layoutv1 "spanyard.example/proto/gen/spanyard/layout/v1"
	stockv1 "spanyard.example/proto/gen/spanyard/stock/v1"
	"spanyard.example/services/kit/fault"
)

// Layout and stock number the formats of tables alike: an index other than 0
// does not compile.
var (
	_ = [1]int{}[layoutv1.FileFormat_FILE_FORMAT_XLSX-layoutv1.FileFormat(stockv1.FileFormat_FILE_FORMAT_XLSX)]
	_ = [1]int{}[layoutv1.FileFormat_FILE_FORMAT_CSV-layoutv1.FileFormat(stockv1.FileFormat_FILE_FORMAT_CSV)]
	_ = [1]int{}[layoutv1.FileFormat_FILE_FORMAT_JSON-layoutv1.FileFormat(stockv1.FileFormat_FILE_FORMAT_JSON)]
)

// TableFormat of a table by the end of its name, as layout and stock number
// formats.
func TableFormat(name string) (int32, error) {
	switch strings.ToLower(path.Ext(name)) {
	case ".xlsx":
		return int32(layoutv1.FileFormat_FILE_FORMAT_XLSX), nil
	case ".csv":
		return int32(layoutv1.FileFormat_FILE_FORMAT_CSV), nil
	case ".json":
		return int32(layoutv1.FileFormat_FILE_FORMAT_JSON), nil
	}
	return 0, fault.New(fault.Invalid, "FILE_FORMAT_UNKNOWN", "%s is no table that can be imported; save it as .xlsx, .csv or .json.", name)
}
