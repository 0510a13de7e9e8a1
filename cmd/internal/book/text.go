package book

import (
	"bytes"
	"strings"
	"sync"

	"github.com/yuin/goldmark"
	"github.com/yuin/goldmark/ast"
	"github.com/yuin/goldmark/extension"
	table "github.com/yuin/goldmark/extension/ast"
	"github.com/yuin/goldmark/renderer"
	"github.com/yuin/goldmark/util"

	"fettle/cmd/internal/term"
)

var converter = sync.OnceValue(func() goldmark.Markdown {
	return goldmark.New(goldmark.WithExtensions(extension.Table), goldmark.WithRendererOptions(
		renderer.WithNodeRenderers(util.Prioritized(inert{}, 1))))
})

// markdown renders a document's text as HTML. Text that cannot be converted
// appears as it was written.
func markdown(text string) safe {
	text = strings.TrimSpace(term.Clean(text))
	var out bytes.Buffer
	if err := converter().Convert([]byte(text), &out); err != nil {
		return safe("<p>" + escaper.Replace(text) + "</p>")
	}
	return safe(out.String()) // from goldmark, with active content made inert below
}

// inert renders active content and headings harmlessly: links, images and raw
// HTML become text, and headings paragraphs, so that they do not disturb the
// outline. Header cells of a table get their scope.
type inert struct{}

func (inert) RegisterFuncs(r renderer.NodeRendererFuncRegisterer) {
	r.Register(ast.KindLink, func(w util.BufWriter, _ []byte, n ast.Node, entering bool) (ast.WalkStatus, error) {
		return behind(w, n.(*ast.Link).Destination, entering)
	})
	r.Register(ast.KindImage, func(w util.BufWriter, _ []byte, n ast.Node, entering bool) (ast.WalkStatus, error) {
		return behind(w, n.(*ast.Image).Destination, entering)
	})
	r.Register(ast.KindAutoLink, func(w util.BufWriter, source []byte, n ast.Node, entering bool) (ast.WalkStatus, error) {
		if entering {
			_, err := w.Write(util.EscapeHTML(n.(*ast.AutoLink).Label(source)))
			return ast.WalkSkipChildren, err
		}
		return ast.WalkContinue, nil
	})
	r.Register(ast.KindRawHTML, func(w util.BufWriter, source []byte, n ast.Node, entering bool) (ast.WalkStatus, error) {
		if !entering {
			return ast.WalkContinue, nil
		}
		_, err := w.Write(util.EscapeHTML(n.(*ast.RawHTML).Segments.Value(source)))
		return ast.WalkSkipChildren, err
	})
	r.Register(ast.KindHTMLBlock, func(w util.BufWriter, source []byte, n ast.Node, entering bool) (ast.WalkStatus, error) {
		if !entering {
			return ast.WalkContinue, nil
		}
		block := n.(*ast.HTMLBlock)
		text := block.Lines().Value(source)
		if block.HasClosure() {
			text = append(text, block.ClosureLine.Value(source)...)
		}
		_, err := w.WriteString("<p>" + string(util.EscapeHTML(text)) + "</p>\n")
		return ast.WalkSkipChildren, err
	})
	r.Register(table.KindTableCell, func(w util.BufWriter, _ []byte, n ast.Node, entering bool) (ast.WalkStatus, error) {
		open, end := "<td>", "</td>\n"
		if n.Parent().Kind() == table.KindTableHeader {
			open, end = `<th scope="col">`, "</th>\n"
		}
		if !entering {
			open = end
		}
		_, err := w.WriteString(open)
		return ast.WalkContinue, err
	})
	r.Register(ast.KindHeading, func(w util.BufWriter, _ []byte, _ ast.Node, entering bool) (ast.WalkStatus, error) {
		tag := "</strong></p>\n"
		if entering {
			tag = "<p><strong>"
		}
		_, err := w.WriteString(tag)
		return ast.WalkContinue, err
	})
}

// behind writes the target of a link after its words.
func behind(w util.BufWriter, destination []byte, entering bool) (ast.WalkStatus, error) {
	if entering || len(destination) == 0 {
		return ast.WalkContinue, nil
	}
	_, err := w.WriteString(" (" + string(util.EscapeHTML(destination)) + ")")
	return ast.WalkContinue, err
}
