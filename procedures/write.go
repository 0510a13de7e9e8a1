package procedures

import (
	"bytes"
	"fmt"

	"gopkg.in/yaml.v3"

	"fettle/steps"
)

// Write writes a procedure in the form that [Read] reads.
func Write(p *steps.Procedure) ([]byte, error) {
	data, err := written(procedureKeys(), p)
	if err != nil {
		return nil, fmt.Errorf("writing the procedure %s: %w", p.Name, err)
	}
	return data, nil
}

// Kept makes a document of a procedure that the program made, as it is kept
// with a job: written, read again and checked. Every error of the procedure is
// of type [Faults].
func Kept(p *steps.Procedure) (*Document, error) {
	data, err := Write(p)
	if err != nil {
		return nil, err
	}
	doc, faults := parse(p.Name+".yaml", data, nil)
	if len(faults) > 0 {
		return nil, faults
	}
	doc.Made = true
	return doc, nil
}

func written[P any](keys *mapping[P], from P) ([]byte, error) {
	var b bytes.Buffer
	e := yaml.NewEncoder(&b)
	e.SetIndent(2)
	if err := e.Encode(keys.write(from).toWrite()); err != nil {
		return nil, err
	}
	return b.Bytes(), nil
}
