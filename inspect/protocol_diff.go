package inspect

import (
	"fmt"
	"slices"

	"github.com/pelletier/go-toml/v2"
)

// Differences lists what a protocol changes of another, one "key: old -> new" a line, by key.
func Differences(from, to Protocol) []string {
	a, b := flat(from), flat(to)
	var out []string
	for key, v := range b {
		if old, found := a[key]; !found {
			out = append(out, fmt.Sprintf("%s: %v (new)", key, v))
		} else if fmt.Sprint(old) != fmt.Sprint(v) {
			out = append(out, fmt.Sprintf("%s: %v -> %v", key, old, v))
		}
	}
	slices.Sort(out)
	return out
}

// flat is every value of a protocol by its dotted key.
func flat(p Protocol) map[string]any {
	text, err := toml.Marshal(p)
	if err != nil {
		panic("inspect: a checked protocol does not write: " + err.Error())
	}
	var tree map[string]any
	if err := toml.Unmarshal(text, &tree); err != nil {
		panic("inspect: a written protocol does not read: " + err.Error())
	}
	out := map[string]any{}
	var walk func(t map[string]any, at string)
	walk = func(t map[string]any, at string) {
		for key, v := range t {
			if sub, ok := v.(map[string]any); ok {
				walk(sub, at+key+".")
				continue
			}
			out[at+key] = v
		}
	}
	walk(tree, "")
	return out
}
