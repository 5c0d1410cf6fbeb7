package strength

import "testing"

func BenchmarkCheck(b *testing.B) {
	beam := goldenBeam()
	for b.Loop() {
		if _, err := Check(beam); err != nil {
			b.Fatal(err)
		}
	}
}
