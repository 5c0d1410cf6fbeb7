package show

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	"spanyard.example/services/kit/civil"
)

// Clock prints minutes after midnight as h:mm. A run that ends after midnight
// goes on counting: 24:10.
func Clock(minute int32) string {
	if minute < 0 {
		return "-" + Clock(-minute)
	}
	return fmt.Sprintf("%d:%02d", minute/60, minute%60)
}

// kg prints grams as kilograms with one decimal.
func kg(g int64) string { return strconv.FormatFloat(float64(g)/1000, 'f', 1, 64) }

// wholeKg prints grams as kilograms, rounded up: a load is never shown
// lighter than it is.
func wholeKg(g int64) string { return strconv.FormatInt((g+999)/1000, 10) }

func metres(mm int64) string { return strconv.FormatFloat(float64(mm)/1000, 'f', 1, 64) }

func mpa(v float64) string { return strconv.FormatFloat(v, 'f', 1, 64) }

// count prints a number with its word: "1 run", "3 runs".
func count[N int | int32 | int64](n N, one string) string {
	if n == 1 {
		return "1 " + one
	}
	if stem, ok := strings.CutSuffix(one, "ch"); ok {
		return fmt.Sprintf("%d %sches", n, stem)
	}
	return fmt.Sprintf("%d %ss", n, one)
}

// moment prints a time on the clock of a zone.
func moment(t *timestamppb.Timestamp, zone *time.Location) string {
	if !t.IsValid() {
		return ""
	}
	return t.AsTime().In(zone).Format("2006-01-02 15:04")
}

// longDay prints 2027-03-17 as "Wednesday 17 March 2027"; anything else stays
// as it is.
func longDay(day string) string {
	d, err := civil.ParseDay(day)
	if err != nil {
		return day
	}
	return d.At(0, time.UTC).Format("Monday 2 January 2006")
}

// word turns the name of an enum value into a word: MORNING_STATE_DRAFT with
// prefix MORNING_STATE_ is "draft".
func word(name, prefix string) string {
	return strings.ToLower(strings.ReplaceAll(strings.TrimPrefix(name, prefix), "_", " "))
}

func dash(s string) string {
	if s == "" {
		return "-"
	}
	return s
}
