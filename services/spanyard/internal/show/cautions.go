package show

import (
	"fmt"
	"io"
)

// The cautions that belong to what a person is about to do. They are printed
// with every sheet that somebody works from.
var (
	loadingCautions = []string{
		"Heavy concrete and vehicles can kill. Nobody stands under a lift.",
		"Beams are lifted and carried near both ends, right way up, on bearers one above the other.",
		"Masses and axle loads are computed: weigh and secure every load under local road law.",
	}
	layingCautions = []string{
		"A floor falls when it is loaded too early. Nobody stands under a lift or on beams that are",
		"not propped as the plan says; nothing is put on the floor before it is finished as planned.",
	}
	designCautions = []string{
		"A designer's aid. A licensed engineer checks and signs the design under the local code.",
		"A floor is not loaded before it is finished as the plan says.",
	}
	releaseCautions = []string{
		"Heavy concrete can kill. Test results count for the batch that the specimens come from and for",
		"no other; a piece that looks damaged does not leave, released or not.",
	}
)

// LoadingCautions belong to mornings, picks and runs.
func LoadingCautions(w io.Writer) { cautions(w, loadingCautions) }

// DesignCautions belong to laying plans.
func DesignCautions(w io.Writer) { cautions(w, designCautions) }

// ReleaseCautions belong to releases and lifted quarantines.
func ReleaseCautions(w io.Writer) { cautions(w, releaseCautions) }

// LayingCautions belong to what a crew lays by.
func LayingCautions(w io.Writer) { cautions(w, layingCautions) }

func cautions(w io.Writer, lines []string) {
	for i, line := range lines {
		lead := "         "
		if i == 0 {
			lead = "CAUTION  "
		}
		fmt.Fprintln(w, lead+line)
	}
}
