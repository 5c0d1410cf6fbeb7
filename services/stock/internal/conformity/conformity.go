// Package conformity judges strength results of a laboratory against what a
// batch has to show. It is pure: numbers in, verdict out.
//
// All strengths are whole thousandths of a megapascal, so that a result that
// lies exactly on a limit passes and no rounding of floats decides. Cylinder
// results are judged against the cylinder strength of the class and cube
// results against its cube strength; nothing is ever converted by a factor.
package conformity

import (
	"fmt"
	"strings"
)

// MilliMPa is a strength in thousandths of a megapascal.
type MilliMPa int64

// MPa is one megapascal.
const MPa MilliMPa = 1000

// String returns the strength in MPa with as many decimals as it needs, at
// least one.
func (m MilliMPa) String() string {
	s := fmt.Sprintf("%d.%03d", m/MPa, m%MPa)
	s = strings.TrimRight(s, "0")
	if strings.HasSuffix(s, ".") {
		s += "0"
	}
	return s
}

// Verdict is whether results conform, and the numbers it rests on.
type Verdict struct {
	Conforms bool
	// Results that it rests on.
	Results int
	// Criterion applied, in words.
	Criterion string
	// Mean is cut off below a thousandth, so that a mean that misses its
	// limit is never shown as equal to it.
	Mean MilliMPa
	// RequiredMean is 0 where the criterion has no limit for the mean.
	RequiredMean MilliMPa
	Lowest       MilliMPa
	// RequiredLowest is 0 where the criterion has no limit for single results.
	RequiredLowest MilliMPa
	Sentence       string
}

// Identity applies the identity test of EN 206 Annex B, Table B.1, for
// concrete of certified production: one result at least fck - 4; of 2 to 4
// results the mean at least fck + 1, of 5 to 6 the mean at least fck + 2, and
// each at least fck - 4. The table ends at six results; more are judged by its
// strictest line.
func Identity(fck MilliMPa, strengths []MilliMPa) Verdict {
	lowest := fck - 4*MPa
	switch n := len(strengths); {
	case n <= 1:
		return judge("EN 206 Annex B, n = 1", 0, lowest, strengths)
	case n <= 4:
		return judge("EN 206 Annex B, n = 2 to 4", fck+1*MPa, lowest, strengths)
	case n <= 6:
		return judge("EN 206 Annex B, n = 5 to 6", fck+2*MPa, lowest, strengths)
	default:
		return judge("EN 206 Annex B, n over 6 judged as n = 5 to 6", fck+2*MPa, lowest, strengths)
	}
}

// InitialProduction applies the criteria of EN 206 8.2.1 for initial
// production, which take results by threes: their mean at least fck + 4 and
// each at least fck - 4. Other numbers of results do not conform.
func InitialProduction(fck MilliMPa, strengths []MilliMPa) Verdict {
	const criterion = "EN 206 8.2.1, initial production, n = 3"
	v := judge(criterion, fck+4*MPa, fck-4*MPa, strengths)
	if len(strengths) != 3 {
		v.Conforms = false
		v.Sentence = fmt.Sprintf("The criterion takes three results; so far: %d.", len(strengths))
	}
	return v
}

// Blocks compares the mean of block results with the declared mean
// compressive strength (EN 771-3). It sets no limit for single blocks.
func Blocks(declared MilliMPa, strengths []MilliMPa) Verdict {
	return judge("EN 771-3, mean at least the declared mean strength", declared, 0, strengths)
}

// judge compares sums, not quotients: mean >= required is sum >= required * n.
func judge(criterion string, requiredMean, requiredLowest MilliMPa, strengths []MilliMPa) Verdict {
	v := Verdict{Results: len(strengths), Criterion: criterion, RequiredMean: requiredMean, RequiredLowest: requiredLowest}
	if len(strengths) == 0 {
		v.Sentence = "There are no results."
		return v
	}
	var sum MilliMPa
	v.Lowest = strengths[0]
	for _, s := range strengths {
		sum += s
		v.Lowest = min(v.Lowest, s)
	}
	n := MilliMPa(len(strengths))
	v.Mean = sum / n
	meanGood := sum >= requiredMean*n
	lowestGood := v.Lowest >= requiredLowest
	v.Conforms = meanGood && lowestGood
	v.Sentence = sentence(v, len(strengths), meanGood, lowestGood)
	return v
}

func sentence(v Verdict, n int, meanGood, lowestGood bool) string {
	var parts []string
	compare := func(what string, value, required MilliMPa, good bool) {
		if required == 0 {
			return
		}
		relation := "at least"
		if !good {
			relation = "below"
		}
		parts = append(parts, fmt.Sprintf("%s %v MPa is %s the required %v MPa", what, value, relation, required))
	}
	compare("mean", v.Mean, v.RequiredMean, meanGood)
	compare("lowest", v.Lowest, v.RequiredLowest, lowestGood)
	verdict := "Conforms"
	if !v.Conforms {
		verdict = "Does not conform"
	}
	results := "1 result"
	if n != 1 {
		results = fmt.Sprintf("%d results", n)
	}
	return fmt.Sprintf("%s: of %s, %s (%s).", verdict, results, strings.Join(parts, " and "), v.Criterion)
}
