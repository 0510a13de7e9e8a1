package procedures

import (
	"fmt"
	"strings"

	"fettle/steps/lists"
	"fettle/steps/nearest"
)

// otherWords are what people call keys that letters alone do not lead to.
func otherWords(key string) string {
	return map[string]string{
		"max": "at_most", "maximum": "at_most", "upper": "at_most", "most": "at_most", "atmost": "at_most",
		"min": "at_least", "minimum": "at_least", "lower": "at_least", "least": "at_least", "atleast": "at_least",
		"range": "between", "limits": "between", "limit": "between", "tolerance": "between",
		"warning": "caution", "danger": "caution", "name": "title", "text": "do", "note": "about", "notes": "about",
		"description": "about", "time": "hands", "duration": "hands", "reason": "why", "tool": "gauge",
		"requires": "needs", "option": "with", "fix": "rework", "depends": "after",
	}[key]
}

// suggest gives the key of the mapping that an unknown one most likely stands
// for, "" if none is near, and the words that say so.
func (k *match) suggest(key string) (near, says string) {
	names := k.names(byAuthors)
	if near = otherWords(key); near == "" || !lists.Contains(names, near) {
		near = nearest.Of(key, names)
	}
	if near != "" {
		return near, fmt.Sprintf("; did you mean %q?", near)
	}
	return "", suggest(key, names)
}

// textHint says how a text becomes something else without anybody wanting it.
func textHint(n *node) string {
	flow := n.Style&flowStyle != 0
	switch {
	case n.Kind == mappingNode && !flow && len(n.Content) == 2 && n.Content[1].Kind == textNode:
		return colonHint(n)
	case n.Kind == mappingNode && flow && len(n.Content) == 2 && n.Content[1].Kind == textNode && n.Column == n.Content[0].Column: // no brace
		return colonHint(n)
	case n.Kind == mappingNode && flow:
		return ": text that begins with { needs quotes"
	case n.Kind == listNode && flow:
		return ": text that begins with [ needs quotes"
	case null(n) && n.Comment != nil:
		return ": text that begins with # needs quotes"
	}
	return ""
}

func colonHint(n *node) string {
	return fmt.Sprintf(": the %q makes a key of it; write: %s", ": ", quoted(n.Content[0].Value+": "+n.Content[1].Value))
}

var (
	compared    = pattern(`^\s*(?:<=?|>=?|≤|≥|=)\s*(.+)$`)
	commaInList = pattern(`^\d+$`)
)

// amountHint says what to write where more than a number with its unit was.
func amountHint(text string) string {
	if m := compared().FindStringSubmatch(text); m != nil {
		return "; write the number and its unit alone: " + m[1]
	}
	return ""
}

// decimalCommas names the comma that parts one number in two: in a list it
// ends an entry.
func (r *reader) decimalCommas(n *node, what string) bool {
	if len(n.Content) < 3 {
		return false
	}
	var limits []string
	comma := (*node)(nil)
	for i := 0; i < len(n.Content); i++ {
		text := n.Content[i].Value
		if i+1 < len(n.Content) && commaInList().MatchString(text) && digits(n.Content[i+1].Value) {
			if comma == nil {
				comma = n.Content[i+1]
			}
			text += "." + n.Content[i+1].Value
			i++
		}
		limits = append(limits, text)
	}
	if comma == nil || len(limits) != 2 {
		return false
	}
	r.fault(comma, "%s: the comma before this parts the list, not the number; write: [%s]", what, strings.Join(limits, ", "))
	return true
}

func digits(text string) bool { return text != "" && text[0] >= '0' && text[0] <= '9' }
