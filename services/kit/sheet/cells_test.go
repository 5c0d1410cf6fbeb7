package sheet

import (
	"math"
	"math/big"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func TestDecimal(t *testing.T) {
	tests := map[string]struct {
		text  string
		scale int
		want  int64
	}{
		"whole":               {"4200", 0, 4200},
		"whole with a point":  {"3200.0", 0, 3200},
		"scaled":              {"41.25", 3, 41250},
		"zero":                {"0", 3, 0},
		"zero decimals":       {"0.000", 3, 0},
		"minus":               {"-1.5", 1, -15},
		"plus":                {"+7", 0, 7},
		"leading zeros":       {"007", 0, 7},
		"decimals that are 0": {"1.2500000", 2, 125},
		"no float would do":   {"0.1", 17, 10000000000000000},
		"many digits":         {"999999999999999999", 0, 999999999999999999},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			got, problem, _ := parseDecimal(tt.text, tt.scale, math.MinInt64, math.MaxInt64)
			if problem != "" || got != tt.want {
				t.Errorf("%q with scale %d = %d (%s), want %d", tt.text, tt.scale, got, problem, tt.want)
			}
		})
	}
}

func TestDecimalsThatAreRefused(t *testing.T) {
	const plain = "digits with a point before the decimals and nothing between thousands, as in 1250 or 1.25"
	tests := map[string]string{
		"1,25":                "has a comma, which could mean decimals or thousands; allowed: " + plain,
		"1,250":               "has a comma, which could mean decimals or thousands; allowed: " + plain,
		"1 250":               "has something between its thousands; allowed: " + plain,
		"1'250":               "has something between its thousands; allowed: " + plain,
		"1.250.000":           "has something between its thousands; allowed: " + plain,
		"4200 mm":             "has a unit or other text beside the number; allowed: the number alone; the unit is in the column's name",
		"4200mm":              "has a unit or other text beside the number; allowed: the number alone; the unit is in the column's name",
		"5 %":                 "has a unit or other text beside the number; allowed: the number alone; the unit is in the column's name",
		"1e3":                 "is written with an exponent; allowed: " + plain,
		"many":                "is not a number; allowed: a number from -1.5 to 20000",
		"-":                   "is not a number; allowed: a number from -1.5 to 20000",
		".5":                  "is not a number; allowed: " + plain,
		"5.":                  "is not a number; allowed: " + plain,
		"--5":                 "is not a number; allowed: " + plain,
		"٣":                   "is not a number; allowed: " + plain,
		"1.2345":              "has too many decimals; allowed: at most 3 decimals",
		"-1.501":              "is too small; allowed: a number from -1.5 to 20000",
		"20000.001":           "is too large; allowed: a number from -1.5 to 20000",
		"9999999999999999999": "is out of range; allowed: a number from -1.5 to 20000",
	}
	for text, want := range tests {
		_, problem, allowed := parseDecimal(text, 3, -1500, 20_000_000)
		if got := problem + "; allowed: " + allowed; got != want {
			t.Errorf("%q:\n got %s\nwant %s", text, got, want)
		}
	}
	if _, problem, allowed := parseDecimal("3.5", 0, 1, 9); problem != "has decimals" || allowed != "a whole number from 1 to 9" {
		t.Errorf("3.5 as a whole number: %s; %s", problem, allowed)
	}
}

// A decimal is exactly the number that is written.
func TestDecimalIsExact(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.Int64Range(-1e17, 1e17).Draw(t, "n")
		scale := rapid.IntRange(0, 9).Draw(t, "scale")
		text := decimalText(n, scale)
		got, problem, _ := parseDecimal(text, scale, math.MinInt64, math.MaxInt64)
		if problem != "" || got != n {
			t.Fatalf("%q with scale %d = %d (%s), want %d", text, scale, got, problem, n)
		}
		written, ok := new(big.Rat).SetString(text)
		power := new(big.Int).Exp(big.NewInt(10), big.NewInt(int64(scale)), nil)
		if !ok || written.Cmp(new(big.Rat).SetFrac(big.NewInt(n), power)) != 0 {
			t.Fatalf("%d with scale %d is written %q", n, scale, text)
		}
	})
}

// table of one row, column by column.
func oneRow(t *testing.T, cells map[string]string) *Table {
	t.Helper()
	var columns []Column
	var header, row []string
	for name, cell := range cells {
		columns = append(columns, Column{Name: name, Required: name != "optional"})
		header = append(header, name)
		row = append(row, `"`+cell+`"`)
	}
	// A column beside them keeps the row from being blank.
	columns, header, row = append(columns, Column{Name: "beside"}), append(header, "beside"), append(row, "x")
	table, err := Read("rooms.csv", CSV, []byte(strings.Join(header, ",")+"\n"+strings.Join(row, ",")+"\n"), columns)
	if err != nil {
		t.Fatal(err)
	}
	return table
}

func TestWrongCellsInWords(t *testing.T) {
	tests := map[string]struct {
		cell string
		read func(*Row)
		want string
	}{
		"empty":             {" ", func(r *Row) { r.Text("c", 9) }, "is empty"},
		"text too long":     {"ten letters", func(r *Row) { r.Text("c", 9) }, `"ten letters" is too long; allowed: at most 9 characters`},
		"line break":        {"a\nb", func(r *Row) { r.Text("c", 9) }, `"a\nb" has a line break or another character that cannot be printed; allowed: one line of text`},
		"formula error":     {"#N/A", func(r *Row) { r.Text("c", 9) }, `"#N/A" is an error of the spreadsheet's formula; allowed: a value`},
		"word":              {"z", func(r *Row) { r.OneOf("c", "x", "y") }, `"z" is not one of the words allowed here; allowed: x, y`},
		"day":               {"28.04.2031", func(r *Row) { r.Day("c") }, `"28.04.2031" is not a day; allowed: a day written YYYY-MM-DD, as in 2031-04-28`},
		"day that is none":  {"2031-02-29", func(r *Row) { r.Day("c") }, `"2031-02-29" is not a day; allowed: a day written YYYY-MM-DD, as in 2031-04-28`},
		"number in a list":  {"41.2; x; 3", func(r *Row) { r.Decimals("c", 2, 0, 9900, 9) }, `"41.2; x; 3" has a wrong number in place 2, which is not a number; allowed: a number from 0 to 99; several separated by semicolons`},
		"hole in a list":    {"41.2;; 3", func(r *Row) { r.Decimals("c", 2, 0, 9900, 9) }, `"41.2;; 3" has a wrong number in place 2, which is not a number; allowed: a number from 0 to 99; several separated by semicolons`},
		"too many numbers":  {"1;2;3", func(r *Row) { r.Decimals("c", 2, 0, 9900, 2) }, `"1;2;3" has too many numbers; allowed: at most 2, separated by semicolons`},
		"own rule":          {"x", func(r *Row) { r.Fail("c", "is not known here", "y") }, `"x" is not known here; allowed: y`},
		"cell over a limit": {strings.Repeat("é", 2001), func(r *Row) { r.Text("c", 9999) }, `"` + strings.Repeat("é", 60) + `…" is too long; allowed: at most 2000 characters`},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			table := oneRow(t, map[string]string{"c": tt.cell})
			tt.read(table.Rows()[0])
			want := "In rooms.csv 1 cell is wrong; nothing was taken over.\n  rooms.csv, row 2, column c: " + tt.want
			if err := table.Err(); err == nil || err.Error() != want {
				t.Errorf("got:\n%v\nwant:\n%s", err, want)
			}
		})
	}
}

func TestEmptyCellsOfOptionalColumns(t *testing.T) {
	table := oneRow(t, map[string]string{"optional": ""})
	r := table.Rows()[0]
	if r.Has("optional") || r.Text("optional", 9) != "" || r.Int("optional", 1, 9) != 0 || r.Day("optional") != 0 ||
		r.OneOf("optional", "x") != "" || r.Decimals("optional", 1, 1, 9, 9) != nil || table.Err() != nil {
		t.Errorf("an empty optional cell is a problem: %v", table.Err())
	}
	r.Text("undeclared", 9)
	if table.Err() == nil {
		t.Error("a column that the program never declared is read in silence")
	}
}

func TestOnlySoManyCellsAreNamed(t *testing.T) {
	table, err := Read("rooms.csv", CSV, []byte("n\n"+strings.Repeat("x\n", 123)), []Column{{"n", true}})
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range table.Rows() {
		r.Int("n", 1, 9)
	}
	got := table.Err().Error()
	if !strings.HasPrefix(got, "In rooms.csv 123 cells are wrong") || !strings.HasSuffix(got, "\n  rooms.csv: and 23 more") || strings.Count(got, "\n") != maxPlaces+1 {
		t.Errorf("got:\n%s", got)
	}
}

func TestLetters(t *testing.T) {
	for index, want := range map[int]string{0: "A", 25: "Z", 26: "AA", 701: "ZZ", 702: "AAA"} {
		if got := letters(index); got != want {
			t.Errorf("letters(%d) = %s, want %s", index, got, want)
		}
	}
}

func FuzzDecimal(f *testing.F) {
	for _, s := range []string{"1", "-1.25", "1,2", "1e9", "", "-", "+-1", "0.0000000000000000000001", "٣", "9999999999999999999"} {
		f.Add(s, 3)
	}
	f.Fuzz(func(t *testing.T, s string, scale int) {
		if scale < 0 || scale > 9 {
			return
		}
		n, problem, allowed := parseDecimal(s, scale, -1e12, 1e12)
		if problem != "" {
			if allowed == "" {
				t.Errorf("%q: %s, without what is allowed", s, problem)
			}
			return
		}
		written, ok := new(big.Rat).SetString(s)
		power := new(big.Int).Exp(big.NewInt(10), big.NewInt(int64(scale)), nil)
		if !ok || written.Cmp(new(big.Rat).SetFrac(big.NewInt(n), power)) != 0 {
			t.Errorf("%q with scale %d was read as %d", s, scale, n)
		}
	})
}
