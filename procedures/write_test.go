package procedures

import (
	"reflect"
	"testing"
)

// What is written is read again as the same procedure, for every document of
// the library.
func TestWriteIsRead(t *testing.T) {
	for _, e := range shipped() {
		if e.Document.Procedure == nil {
			continue
		}
		data, err := Write(e.Document.Procedure)
		if err != nil {
			t.Fatal(err)
		}
		again, err := Parse("again.yaml", data)
		if err != nil {
			t.Errorf("%s: %v\n%s", e.Document.Name(), err, data)
			continue
		}
		if !reflect.DeepEqual(again.Procedure, e.Document.Procedure) {
			t.Errorf("%s is read otherwise:\n%s", e.Document.Name(), data)
		}
	}
}
