package inspect

import (
	"reflect"
	"testing"
)

// Every parameter of every measurement stands in the default protocol: one that is left out
// would silently be zero. The few whose zero has a meaning are named here.
func TestDefaultProtocolNamesEveryParameter(t *testing.T) {
	zeroIsMeant := map[string]bool{"quality.crossings": true}
	m := reflect.ValueOf(DefaultProtocol().Method)
	for i := range m.NumField() {
		section := m.Type().Field(i).Tag.Get("toml")
		for j := range m.Field(i).NumField() {
			name := section + "." + m.Field(i).Type().Field(j).Tag.Get("toml")
			if m.Field(i).Field(j).IsZero() != zeroIsMeant[name] {
				t.Errorf("%s is zero: %v", name, m.Field(i).Field(j).IsZero())
			}
		}
	}
}
