package sheet

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"spanyard.example/services/kit/civil"
)

// The methods that read a cell return the zero value and note the problem in
// the table when the cell is wrong; an empty cell of a column that is not
// required is a zero value without a problem (ask Has to tell).

// Text returns a cell's text of at most maxLen characters.
func (r *Row) Text(col string, maxLen int) string {
	s, ok := r.ask(col)
	switch {
	case !ok:
		return ""
	case utf8.RuneCountInString(s) > maxLen:
		r.Fail(col, "is too long", fmt.Sprintf("at most %d characters", maxLen))
		return ""
	case strings.ContainsFunc(s, unicode.IsControl):
		r.Fail(col, "has a line break or another character that cannot be printed", "one line of text")
		return ""
	}
	return s
}

// OneOf returns the one of the allowed words that a cell holds; case does not
// matter.
func (r *Row) OneOf(col string, allowed ...string) string {
	s, ok := r.ask(col)
	if !ok {
		return ""
	}
	i := slices.IndexFunc(allowed, func(a string) bool { return strings.EqualFold(a, s) })
	if i < 0 {
		r.Fail(col, "is not one of the words allowed here", strings.Join(allowed, ", "))
		return ""
	}
	return allowed[i]
}

// Day returns the day in a cell: a spreadsheet's date, or YYYY-MM-DD.
func (r *Row) Day(col string) civil.Day {
	s, ok := r.ask(col)
	if !ok {
		return 0
	}
	d, err := civil.ParseDay(s)
	if err != nil {
		r.Fail(col, "is not a day", "a day written YYYY-MM-DD, as in 2031-04-28")
		return 0
	}
	return d
}

// Int returns a whole number from min to max.
func (r *Row) Int(col string, min, max int64) int64 { return r.Decimal(col, 0, min, max) }

// Decimal returns a number in units of ten to the minus scale: with scale 3,
// "41.25" is 41250, exactly. min and max are in the same units.
func (r *Row) Decimal(col string, scale int, min, max int64) int64 {
	s, ok := r.ask(col)
	if !ok {
		return 0
	}
	n, problem, allowed := parseDecimal(s, scale, min, max)
	if problem != "" {
		r.Fail(col, problem, allowed)
		return 0
	}
	return n
}

// Decimals returns the numbers of a cell, separated by semicolons
// ("41.2; 43.0"), as Decimal does; at most maxCount of them.
func (r *Row) Decimals(col string, scale int, min, max int64, maxCount int) []int64 {
	s, ok := r.ask(col)
	if !ok {
		return nil
	}
	parts := strings.Split(strings.TrimRight(s, "; "), ";")
	if len(parts) > maxCount {
		r.Fail(col, "has too many numbers", fmt.Sprintf("at most %d, separated by semicolons", maxCount))
		return nil
	}
	numbers := make([]int64, 0, len(parts))
	for i, part := range parts {
		n, problem, allowed := parseDecimal(strings.TrimSpace(part), scale, min, max)
		if problem != "" {
			r.Fail(col, fmt.Sprintf("has a wrong number in place %d, which %s", i+1, problem), allowed+"; several separated by semicolons")
			return nil
		}
		numbers = append(numbers, n)
	}
	return numbers
}

// maxDigits of a number: what an int64 holds whatever the digits are.
const maxDigits = 18

// parseDecimal reads digits with at most one point. Everything else that
// people write into number cells is refused with a hint.
func parseDecimal(s string, scale int, min, max int64) (n int64, problem, allowed string) {
	allowed = fmt.Sprintf("a number from %s to %s", decimalText(min, scale), decimalText(max, scale))
	if scale == 0 {
		allowed = "a whole" + strings.TrimPrefix(allowed, "a")
	}
	if p, a := unlikeNumber(s); p != "" {
		if a == "" {
			a = allowed
		}
		return 0, p, a
	}
	unsigned := strings.TrimLeft(s, "+-")
	whole, fraction, _ := strings.Cut(unsigned, ".")
	fraction = strings.TrimRight(fraction, "0")
	whole = strings.TrimLeft(whole, "0")
	if len(fraction) > scale {
		if scale == 0 {
			return 0, "has decimals", allowed
		}
		return 0, "has too many decimals", fmt.Sprintf("at most %d decimals", scale)
	}
	digits := whole + fraction + strings.Repeat("0", scale-len(fraction))
	if len(digits) > maxDigits {
		return 0, "is out of range", allowed
	}
	n, _ = strconv.ParseInt("0"+digits, 10, 64) // at most 18 digits, checked above
	if strings.HasPrefix(s, "-") {
		n = -n
	}
	switch {
	case n < min:
		return 0, "is too small", allowed
	case n > max:
		return 0, "is too large", allowed
	}
	return n, "", ""
}

// unlikeNumber says why s is not digits with at most one point between them.
func unlikeNumber(s string) (problem, allowed string) {
	body := s
	if body != "" && (body[0] == '+' || body[0] == '-') {
		body = body[1:]
	}
	whole, fraction, point := strings.Cut(body, ".")
	if allDigits(whole) && (!point || allDigits(fraction)) {
		return "", ""
	}
	const plain = "digits with a point before the decimals and nothing between thousands, as in 1250 or 1.25"
	digits := strings.IndexFunc(body, unicode.IsDigit)
	letter := strings.IndexFunc(body, unicode.IsLetter)
	switch {
	case digits < 0:
		return "is not a number", ""
	case strings.Contains(body, ","):
		return "has a comma, which could mean decimals or thousands", plain
	case looksScientific(body):
		return "is written with an exponent", plain
	case letter >= 0 || strings.ContainsAny(body, "%°²³/"):
		return "has a unit or other text beside the number", "the number alone; the unit is in the column's name"
	case strings.ContainsFunc(body, func(r rune) bool { return unicode.IsSpace(r) || r == '\'' || r == '’' || r == '_' }), strings.Count(body, ".") > 1:
		return "has something between its thousands", plain
	}
	return "is not a number", plain
}

func allDigits(s string) bool {
	return s != "" && strings.Trim(s, "0123456789") == ""
}

func looksScientific(s string) bool {
	if len(s) > 64 || !strings.ContainsAny(s, "eE") {
		return false
	}
	_, err := strconv.ParseFloat(s, 64)
	return err == nil
}

// decimalText writes n units of ten to the minus scale as people do.
func decimalText(n int64, scale int) string {
	s := strconv.FormatInt(n, 10)
	sign := ""
	if strings.HasPrefix(s, "-") {
		sign, s = "-", s[1:]
	}
	if len(s) <= scale {
		s = strings.Repeat("0", scale-len(s)+1) + s
	}
	whole, fraction := s[:len(s)-scale], strings.TrimRight(s[len(s)-scale:], "0")
	if fraction == "" {
		return sign + whole
	}
	return sign + whole + "." + fraction
}
