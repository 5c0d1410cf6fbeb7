// Package civil counts calendar days as a yard does: a day is a date on the
// yard's own clock, without hours. Standard library only.
package civil

import (
	"fmt"
	"time"
)

// Layout of a day in files, requests and events.
const Layout = "2006-01-02"

// Day is a calendar day, as days since 1970-01-01. The zero value is a real
// day; use ParseDay to take days from outside.
type Day int32

// DayOf returns the day that t falls on in zone.
func DayOf(t time.Time, zone *time.Location) Day {
	y, m, d := t.In(zone).Date()
	return Day(time.Date(y, m, d, 0, 0, 0, 0, time.UTC).Unix() / 86400)
}

// ParseDay reads YYYY-MM-DD.
func ParseDay(s string) (Day, error) {
	t, err := time.Parse(Layout, s)
	if err != nil {
		return 0, fmt.Errorf("%q is not a day written YYYY-MM-DD", s)
	}
	return Day(t.Unix() / 86400), nil
}

// String returns YYYY-MM-DD.
func (d Day) String() string { return d.utc().Format(Layout) }

// Weekday returns the day of the week.
func (d Day) Weekday() time.Weekday { return d.utc().Weekday() }

// At returns the moment on day d that is minute minutes after midnight on the
// clock of zone. In the hour that a clock change skips, it is the moment just
// as long after midnight as the clock would have shown.
func (d Day) At(minute int, zone *time.Location) time.Time {
	y, m, dd := d.utc().Date()
	return time.Date(y, m, dd, 0, minute, 0, 0, zone)
}

func (d Day) utc() time.Time { return time.Unix(int64(d)*86400, 0).UTC() }
