package conformity

import (
	"fmt"
	"math"

	"spanyard.example/services/kit/civil"
)

// The production control of EN 206 8.2.1 looks at a concrete over time, where
// identity testing looks at one batch.
const (
	// initialResults are judged together in initial production.
	initialResults = 3
	// continuousResults are judged together in continuous production.
	continuousResults = 15
	// sigmaResults are needed, over more than sigmaDays, to know how much a
	// concrete spreads.
	sigmaResults = 35
	sigmaDays    = 90
	// factor of the spread in the criterion for the mean.
	sigmaFactor = 1.48
	// bandLow and bandHigh times the spread bound that of the last results, as
	// long as the spread stays valid.
	bandLow, bandHigh = 0.63, 1.37
)

// Result is the strength of one sample of a concrete: the mean of its
// specimens.
type Result struct {
	Day      civil.Day
	Strength MilliMPa
}

// Production is how a concrete stands in its production control.
type Production struct {
	// Continuous is false in initial production.
	Continuous bool
	// Results there are, and on how many of the last the verdict rests.
	Results int
	Verdict Verdict
	// Sigma is the spread that is kept, from the results of SigmaFrom to
	// SigmaTo; 0 in initial production.
	Sigma              MilliMPa
	SigmaFrom, SigmaTo civil.Day
	// Last is the spread of the last results, which has to lie within Low and
	// High or Sigma is worked out anew.
	Last, Low, High MilliMPa
	// Renewed is how often Sigma was worked out anew.
	Renewed int
	// Since the day from which the production does not conform; 0 when it does.
	Since civil.Day
}

// Control takes the results of one concrete in the order of their days through
// initial and continuous production (EN 206 8.2.1.3, assessment of the mean and
// of single results), with sigma kept as long as the spread of the last 15
// results lies between 0.63 and 1.37 of it and worked out from the last 35
// when it does not.
func Control(fck MilliMPa, results []Result) Production {
	var p Production
	for n := 1; n <= len(results); n++ {
		p.step(fck, results[:n])
	}
	return p
}

// step looks at the newest result.
func (p *Production) step(fck MilliMPa, results []Result) {
	n := len(results)
	p.Results = n
	switch {
	case p.Continuous:
		p.keepSigma(results)
		p.judge(fck, results)
	case n >= sigmaResults && int(results[n-1].Day-results[n-sigmaResults].Day) > sigmaDays:
		// From the next result on production is continuous; this one still
		// counts as initial.
		p.Verdict = InitialProduction(fck, last(results, initialResults))
		p.Continuous = true
		p.newSigma(results)
	default:
		p.Verdict = InitialProduction(fck, last(results, initialResults))
	}
	switch {
	case p.Verdict.Conforms || n < initialResults:
		p.Since = 0
	case p.Since == 0:
		p.Since = results[n-1].Day
	}
}

func (p *Production) newSigma(results []Result) {
	p.Sigma = spread(last(results, sigmaResults))
	p.SigmaFrom, p.SigmaTo = results[len(results)-sigmaResults].Day, results[len(results)-1].Day
	p.band(results)
}

func (p *Production) band(results []Result) {
	p.Last = spread(last(results, continuousResults))
	p.Low = MilliMPa(math.Ceil(bandLow * float64(p.Sigma)))
	p.High = MilliMPa(math.Floor(bandHigh * float64(p.Sigma)))
}

func (p *Production) keepSigma(results []Result) {
	if p.band(results); p.Last < p.Low || p.Last > p.High {
		p.newSigma(results)
		p.Renewed++
	}
}

// judge applies the criteria of continuous production. The limit of the mean is
// rounded up, so that rounding never lets anything pass.
func (p *Production) judge(fck MilliMPa, results []Result) {
	required := fck + MilliMPa(math.Ceil(sigmaFactor*float64(p.Sigma)))
	criterion := fmt.Sprintf("EN 206 8.2.1.3, continuous production, n = %d, sigma = %v MPa", continuousResults, p.Sigma)
	p.Verdict = judge(criterion, required, fck-4*MPa, last(results, continuousResults))
}

func last(results []Result, n int) []MilliMPa {
	var out []MilliMPa
	for _, r := range results[max(0, len(results)-n):] {
		out = append(out, r.Strength)
	}
	return out
}

// spread is the sample standard deviation to the nearest thousandth.
func spread(strengths []MilliMPa) MilliMPa {
	if len(strengths) < 2 {
		return 0
	}
	var sum float64
	for _, s := range strengths {
		sum += float64(s)
	}
	mean := sum / float64(len(strengths))
	var squares float64
	for _, s := range strengths {
		squares += (float64(s) - mean) * (float64(s) - mean)
	}
	return MilliMPa(math.Round(math.Sqrt(squares / float64(len(strengths)-1))))
}
