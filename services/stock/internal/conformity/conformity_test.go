package conformity_test

import (
	"strings"
	"testing"

	"spanyard.example/services/stock/internal/conformity"
)

type judgement struct {
	name      string
	source    string
	judge     func(conformity.MilliMPa, []conformity.MilliMPa) conformity.Verdict
	required  conformity.MilliMPa
	strengths []conformity.MilliMPa
	conforms  bool
	mean      conformity.MilliMPa
}

// Sources stand beside the criteria; the sums are worked by hand.
var judgements = []judgement{
	{"one result on the limit", "EN 206 Annex B Table B.1, n = 1: fci >= fck - 4",
		conformity.Identity, 40000, list(36000), true, 36000},
	{"one result a thousandth short", "EN 206 Annex B Table B.1, n = 1",
		conformity.Identity, 40000, list(35999), false, 35999},
	{"two results, mean on the limit", "EN 206 Annex B Table B.1, n = 2 to 4: fcm >= fck + 1",
		conformity.Identity, 40000, list(36000, 46000), true, 41000},
	{"two results, one too low", "EN 206 Annex B Table B.1, n = 2 to 4: fci >= fck - 4",
		conformity.Identity, 40000, list(35900, 46100), false, 41000},
	{"three results, mean a third of a thousandth short", "EN 206 Annex B Table B.1, n = 2 to 4",
		conformity.Identity, 40000, list(41000, 41000, 40999), false, 40999},
	{"four results on the limit", "EN 206 Annex B Table B.1, n = 2 to 4",
		conformity.Identity, 40000, list(40000, 41000, 42000, 41000), true, 41000},
	{"five results, good enough for four only", "EN 206 Annex B Table B.1, n = 5 to 6: fcm >= fck + 2 (from memory)",
		conformity.Identity, 40000, list(41000, 41000, 41000, 41000, 41000), false, 41000},
	{"six results on the limit", "EN 206 Annex B Table B.1, n = 5 to 6 (from memory)",
		conformity.Identity, 40000, list(36000, 42000, 42000, 42000, 45000, 45000), true, 42000},
	{"seven results are judged as six", "house rule: the table ends at n = 6",
		conformity.Identity, 40000, list(41000, 41000, 41000, 41000, 41000, 41000, 41000), false, 41000},
	{"initial production passes", "EN 206 8.2.1: fcm >= fck + 4 and fci >= fck - 4, n = 3",
		conformity.InitialProduction, 40000, list(41000, 46000, 47000), true, 44666},
	{"initial production, mean too low", "EN 206 8.2.1",
		conformity.InitialProduction, 40000, list(42000, 43000, 46000), false, 43666},
	{"initial production, both exactly on the limit", "EN 206 8.2.1: >=, not >",
		conformity.InitialProduction, 40000, list(36000, 48000, 48000), true, 44000},
	{"initial production takes three results", "EN 206 8.2.1",
		conformity.InitialProduction, 40000, list(50000, 50000), false, 50000},
	{"blocks, mean on the limit", "EN 771-3, declared mean strength (from memory)",
		conformity.Blocks, 7300, list(7000, 7300, 7600), true, 7300},
	{"blocks, mean too low", "EN 771-3, declared mean strength (from memory)",
		conformity.Blocks, 7300, list(7000, 7300, 7599), false, 7299},
	{"no results", "nothing conforms without a result",
		conformity.Identity, 40000, nil, false, 0},
}

func TestJudgements(t *testing.T) {
	for _, j := range judgements {
		t.Run(j.name, func(t *testing.T) {
			v := j.judge(j.required, j.strengths)
			if v.Conforms != j.conforms {
				t.Errorf("conforms = %v, want %v by %s: %s", v.Conforms, j.conforms, j.source, v.Sentence)
			}
			if v.Mean != j.mean {
				t.Errorf("mean = %v, want %v", v.Mean, j.mean)
			}
			if v.Sentence == "" || v.Criterion == "" {
				t.Errorf("verdict without words: %+v", v)
			}
		})
	}
}

func TestSentenceNamesTheNumbers(t *testing.T) {
	v := conformity.Identity(40000, list(35000, 48000))
	for _, part := range []string{"Does not conform", "2 results", "mean 41.5 MPa is at least the required 41.0 MPa",
		"lowest 35.0 MPa is below the required 36.0 MPa", "EN 206 Annex B, n = 2 to 4"} {
		if !strings.Contains(v.Sentence, part) {
			t.Errorf("sentence %q lacks %q", v.Sentence, part)
		}
	}
}

func TestMilliMPaInWords(t *testing.T) {
	for value, want := range map[conformity.MilliMPa]string{36000: "36.0", 41250: "41.25", 7: "0.007", 0: "0.0"} {
		if got := value.String(); got != want {
			t.Errorf("%d is written %q, want %q", int64(value), got, want)
		}
	}
}

func list(strengths ...conformity.MilliMPa) []conformity.MilliMPa { return strengths }
