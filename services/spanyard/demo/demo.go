// Package demo holds the files of the demo yard: one morning of an invented
// yard with invented sites and people. The files are the truth; a copy of this
// folder, changed, runs with "spanyard demo --scenario FOLDER".
package demo

import "embed"

// tanglewick-mill.xlsx is made from its source so that the demo also imports a
// workbook.
//go:generate go run ./makexlsx source/tanglewick-mill.csv tanglewick-mill.xlsx

// Files of the scenario.
//
//go:embed *.yaml *.csv *.json *.xlsx
var Files embed.FS
