package shell

import (
	"bytes"
	"compress/gzip"
	"crypto/rand"
	"errors"
	"fmt"
	"html/template"
	"io/fs"
	"mime"
	"net/url"
	"path"
	"strconv"
	"strings"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	"spanyard.example/services/kit/auth"
	"spanyard.example/services/kit/fault"
)

// View is what a template is executed with.
type View struct {
	// Name of the page's template.
	Name   string
	Data   any
	Person auth.Person
	Demo   []auth.Person
	Yard   string
	// Path of this page, for links that come back to it.
	Path  string
	Query string
	// FormToken belongs into every form.
	FormToken string
	// Said tells what the last form did.
	Said string
	// Trouble is what went wrong; nil when nothing did.
	Trouble *Trouble
}

// Trouble is an error in words.
type Trouble struct {
	Sentence string
	Reason   string
	Places   []string
}

// parse reads the frame and one template for each page.
func (s *Shell) parse(templates fs.FS) error {
	base, err := template.New("frame.html").Funcs(s.functions()).ParseFS(frames, "templates/*.html")
	if err != nil {
		return fmt.Errorf("read the frame: %w", err)
	}
	files, err := fs.Glob(templates, "*.html")
	if err != nil {
		return err
	}
	s.byName = map[string]*template.Template{}
	for _, file := range files {
		t, err := base.Clone()
		if err != nil {
			return err
		}
		if t, err = t.ParseFS(templates, file); err != nil {
			return fmt.Errorf("read the template %s: %w", file, err)
		}
		s.byName[strings.TrimSuffix(path.Base(file), ".html")] = t
	}
	return nil
}

// Show writes a page made of a template and its data. Nothing is sent before
// the page is whole.
func (r *Request) Show(name string, data any) error {
	t, ok := r.shell.byName[name]
	if !ok {
		return fmt.Errorf("there is no template %q", name)
	}
	v := View{
		Name: name, Data: data, Person: r.Person(), Demo: r.shell.Demo, Yard: r.shell.Yard,
		Path: r.R.URL.Path, Query: r.R.URL.Query().Get("q"), FormToken: r.shell.formToken(r.Session),
		Said: r.said(), Trouble: r.trouble(r.Problem),
	}
	var page bytes.Buffer
	if err := t.ExecuteTemplate(&page, "frame.html", v); err != nil {
		return fmt.Errorf("show %s: %w", name, err)
	}
	r.W.Header().Set("Content-Type", "text/html; charset=utf-8")
	status := statusOf(r.Problem)
	if fault.ReasonOf(r.Problem) == "SIGN_IN_TOO_OFTEN" {
		status = tooMany
	}
	if err := r.write(status, &page); err != nil {
		r.shell.Log.Debug("a browser went before its page was sent", "error", err)
	}
	return nil
}

// write sends a page, packed when that was asked for and the browser can.
func (r *Request) write(status int, page *bytes.Buffer) error {
	if r.Packed {
		r.W.Header().Set("Vary", "Accept-Encoding")
	}
	if !r.Packed || !strings.Contains(r.R.Header.Get("Accept-Encoding"), "gzip") {
		r.W.WriteHeader(status)
		_, err := page.WriteTo(r.W)
		return err
	}
	r.W.Header().Set("Content-Encoding", "gzip")
	r.W.WriteHeader(status)
	packed := gzip.NewWriter(r.W)
	if _, err := page.WriteTo(packed); err != nil {
		return err
	}
	return packed.Close()
}

func (r *Request) trouble(err error) *Trouble {
	if err == nil {
		return nil
	}
	var f *fault.Error
	if !errors.As(err, &f) {
		r.shell.Log.Error("a page failed", "path", r.R.URL.Path, "error", err)
		return &Trouble{Sentence: r.shell.Words.Say("problem.ours")}
	}
	return &Trouble{Sentence: f.Sentence, Reason: f.Reason, Places: f.Lines()}
}

// functions of the templates.
func (s *Shell) functions() template.FuncMap {
	return template.FuncMap{
		"say":    s.Words.Say,
		"day":    s.day,
		"metres": func(mm int32) string { return strconv.FormatFloat(float64(mm)/1000, 'f', 2, 64) },
		"clock":  func(minute int32) string { return fmt.Sprintf("%d:%02d", minute/60, minute%60) },
		"kg":     func(g int64) string { return strconv.FormatInt((g+500)/1000, 10) },
		"mpa":    func(v float64) string { return strconv.FormatFloat(v, 'f', 1, 64) },
		"has":    func(p auth.Person, role string) bool { return p.Has(auth.Role(role)) },
		"moment": s.moment,
		"role":   func(r auth.Role) string { return s.Words.Say("role." + string(r)) },
		"add":    func(a, b int) int { return a + b },
		"nav":    navigation,
		"list":   func(all ...string) []string { return all },
		"fill":   fill,
		"id":     rand.Text,
		"under":  strings.HasPrefix,
		"wish":   wishOf,
		"km":     func(metres int32) string { return strconv.Itoa(int(metres+500) / 1000) },
		"path":   url.PathEscape,
	}
}

// day writes YYYY-MM-DD for people: "Wed 17 Mar 2027".
func (s *Shell) day(iso string) string {
	d, err := time.Parse(time.DateOnly, iso)
	if err != nil {
		return iso
	}
	return fmt.Sprintf("%s %d %s %d", s.Words.Say("weekday."+strconv.Itoa(int(d.Weekday()))), d.Day(), s.Words.Say("month."+strconv.Itoa(int(d.Month()))), d.Year())
}

// moment writes a time in the yard's zone: "17 Mar 2027 5:04".
func (s *Shell) moment(at *timestamppb.Timestamp, zone *time.Location) string {
	if at == nil {
		return ""
	}
	t := at.AsTime().In(zone)
	return s.day(t.Format(time.DateOnly)) + " " + t.Format("15:04")
}

// Place is a department's first page, in the order of the navigation.
type Place struct{ Path, Word string }

// navigation of a person: all of the yard see all departments; the services
// decide what each may do there.
func navigation(p auth.Person) []Place {
	places := []Place{{"/morning", "nav.morning"}, {"/stock", "nav.stock"}, {"/available", "nav.available"}}
	floors := Place{"/floors", "nav.floors"}
	if p.Has(auth.DrawingOffice) {
		places = append([]Place{floors}, places...)
	} else {
		places = append(places, floors)
	}
	if p.Has(auth.Yard) {
		return append([]Place{{"/yard", "nav.yard"}}, places...)
	}
	if p.Has(auth.Dispatcher) {
		return append(places, Place{"/yard", "nav.yard"})
	}
	return places
}

// Send answers with a document, to be kept or printed.
func (r *Request) Send(name, mediaType string, content []byte) error {
	h := r.W.Header()
	h.Set("Content-Type", mediaType)
	h.Set("Content-Disposition", mime.FormatMediaType("attachment", map[string]string{"filename": name}))
	if _, err := r.W.Write(content); err != nil {
		r.shell.Log.Debug("a browser went before its document was sent", "error", err)
	}
	return nil
}

// fill is how a stretch of a bar looks: free is solid, all else a pattern.
func fill(kind string) string {
	switch kind {
	case "free", "run-delivered", "lay-laid":
		return "#14263b"
	case "run-draft", "run-cancelled", "lay-next", "lay-to_lay":
		return "#fff"
	case "run-confirmed":
		return "url(#p-promised)"
	case "run-departed":
		return "url(#p-kept)"
	case "lay-missing":
		return "url(#p-later)"
	case "lay-broken", "lay-stopped":
		return "url(#p-held)"
	case "run-hit":
		return "url(#p-held)"
	}
	return "url(#p-" + kind + ")"
}

// wishForm is a button that changes one wish for a plan.
type wishForm struct {
	View                       View
	Plan, Wish, Truck, CallOff string
}

func wishOf(v View, plan, wish, truck, callOff string) wishForm {
	return wishForm{v, plan, wish, truck, callOff}
}
