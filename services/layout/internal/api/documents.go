package api

import (
	"slices"
	"strings"

	layoutv1 "spanyard.example/proto/gen/spanyard/layout/v1"
	"spanyard.example/services/kit/fault"
	"spanyard.example/services/layout/internal/design"
	"spanyard.example/services/layout/internal/strength"
)

// sources of documents.
type sources struct {
	plan         *design.Plan
	catalogue    *design.Catalogue
	calculations []strength.Report
	title, sheet string
}

func sortLayers(layers []*layoutv1.DrawingLayer) {
	slices.SortFunc(layers, func(a, b *layoutv1.DrawingLayer) int { return strings.Compare(a.GetName(), b.GetName()) })
}

// documents makes what was asked for.
func documents(kinds []layoutv1.DocumentKind, _ sources) ([]*layoutv1.Document, error) {
	for _, k := range kinds {
		return nil, fault.New(fault.Invalid, "DOCUMENT_UNKNOWN", "A document of that kind cannot be made here.").At("documents", k.String(), "is not made from this", "")
	}
	return nil, nil
}
