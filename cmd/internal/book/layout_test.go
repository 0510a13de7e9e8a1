package book

import (
	"html/template"
	"maps"
	"strings"
	"testing"
	"time"
)

// Layouts are filled in as the standard library does it, whatever the words.
func TestFilledAsTheStandardLibrary(t *testing.T) {
	type row struct {
		Name, None string
		At         time.Time
		In         *row
	}
	const words = `<b>&amp; "it's" </title></style> {{.}} +1 ` + "\u202e\x00`"
	shown := struct {
		Rows, Empty []row
		N           int64
		Sum         float64
		Words       string
	}{[]row{{Name: words, In: &row{Name: "in"}}, {None: "x", At: time.Unix(1, 0)}}, nil, 2, 1.5, words}
	const layout = `{{define "part"}}<i title="{{.Name}}">{{or .None .Name "–"}}</i>{{end -}}
<h1>{{.Words}}</h1>{{range $i, $r := .Rows}}{{if $i}}; {{end}}{{template "part" .}}{{with $r.In}}{{.Name}} of {{$.N}}{{else}}none{{end}}{{if not .At.IsZero}} dated{{end}}{{end}}
{{range .Empty}}x{{else}}nothing{{end}} {{if and .N (eq .Words "x")}}no{{else if ge .N 2}}{{len .Rows}} {{.Sum}} {{twice .Words}}{{end}}
{{$g := .N}}{{with $w := .Words}}{{$w}} {{$g}}{{end}}{{range $r := .Rows}} {{$r.Name}},{{end}}
  {{- if eq .Words "x"}} no {{else if .Empty}} none {{else -}} 	 {{twice (twice "a\"b")}} {{- end}} {{if 0}}{{else}}{{twice "<"}}{{end}}`
	own := map[string]any{"twice": func(s string) string { return s + s }}
	calls := basics()
	maps.Copy(calls, own)
	var got, want strings.Builder
	if err := fill(&got, layout, calls, &shown); err != nil {
		t.Fatal(err)
	}
	if err := template.Must(template.New("").Funcs(own).Parse(layout)).Execute(&want, &shown); err != nil {
		t.Fatal(err)
	}
	if got.String() != want.String() {
		t.Errorf("filled in as\n%s\nnot\n%s", got.String(), want.String())
	}
	for _, wrong := range []string{"{{.No}}", "{{.N | len}}", "{{template \"no\"}}", "{{twice}}", "{{range .N}}{{end}}", "{{.Words 1}}", "{{if .N}}", "{{if .N}}{{else}}",
		"{{end}}", "{{else}}", "{{.N", "{{(len .Rows}}", "{{no .N}}", "{{\"x}}", "{{template}}", "{{template 1}}", "{{}}", "{{ }}", "{{$no}}", "{{if}}{{end}}", "{{.N )}}",
		"{{define \"x\"}}", "{{if .N}}{{else}}{{else}}{{end}}"} {
		if err := fill(&got, wrong, calls, &shown); err == nil {
			t.Errorf("%s was filled in", wrong)
		}
	}
}
