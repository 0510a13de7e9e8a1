package desk

import (
	"fmt"
	"strings"

	"fettle/steps"
	"fettle/workflow"
)

// AsBuilt names the check by which an airframe of the design is taken over as built:
// one written for the design comes before one that serves every design.
func (d *Desk) AsBuilt(sheet *steps.Sheet) (string, error) {
	var own, any []string
	for _, doc := range d.Library.Serving(sheet) {
		switch p := doc.Procedure; {
		case p.Accepts != steps.AsBuilt:
		case p.Design != "":
			own = append(own, p.Name)
		default:
			any = append(any, p.Name)
		}
	}
	if len(own) == 0 {
		own = any
	}
	switch len(own) {
	case 0:
		return "", &workflow.BadRequestError{Text: fmt.Sprintf("no check in the library accepts a %s as built; write one with accepts: %s", sheet.Name, steps.AsBuilt)}
	case 1:
		return own[0], nil
	}
	return "", &workflow.BadRequestError{Text: fmt.Sprintf("several checks accept a %s as built: %s; start the one that is meant by its name", sheet.Name, strings.Join(own, ", "))}
}
